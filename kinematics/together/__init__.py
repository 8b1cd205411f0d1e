"""Brackets filled together out of one drawer, each ratio for itself or tied to the others."""
