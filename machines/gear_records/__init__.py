"""What was read off a finished gear, in the files that hold it."""
