"""A job's set-up on its machine: what it makes, what can be changed of it, how it moves."""
