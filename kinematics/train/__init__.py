"""A drive train as a graph of links, solved exactly; power, locks, paths and moves through it."""
