"""Unknown numbers of a machine, recovered from what was counted on it."""
