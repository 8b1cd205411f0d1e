"""Bounds drawn closer until what is unknown has one value, or plainly more."""
