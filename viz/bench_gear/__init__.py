"""The page of a finished gear: its records chosen or typed by hand, what they say of the machine, and into its file."""
