"""A simulated gear as an inspection report, and the records of a real one over it."""
