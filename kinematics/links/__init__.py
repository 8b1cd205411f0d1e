"""The kinds of link between parts, each its one relation, and what a bracket can hold."""
