"""A machine's file, and what it says of links, levers and head; also one that isn't known whole."""
