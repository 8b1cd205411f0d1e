"""A job's blank cut in simulation, measured, and held against what its rates say."""
