"""The sheet at the machine, on paper and as a page."""
