"""A machine's own page: read, written down part by part, counted and fitted."""
