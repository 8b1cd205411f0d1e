"""From records of a finished gear back to the parts of the machine that cut it."""
