"""Sizes to turn to, to measure by and to go deeper by, and what is counted by hand."""
