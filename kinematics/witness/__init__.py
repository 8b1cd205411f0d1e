"""A blank cut and then measured: the second witness."""
