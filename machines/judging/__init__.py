"""What is looked at in a set-up, one check a function."""
