"""What a file may hold: kinds of values, tables of keys, and reading by them with every complaint."""
