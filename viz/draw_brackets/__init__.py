"""Brackets drawn to scale, and what is said beside the gears."""
