"""The commands that ask a machine for its numbers."""
