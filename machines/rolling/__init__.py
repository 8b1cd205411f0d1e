"""A job's blank and its mate's, cut in simulation and rolled together."""
