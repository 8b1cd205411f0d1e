"""The keys of every file, as tables."""
