"""Hob and blank in three dimensions, still and moving."""
