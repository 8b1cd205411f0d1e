"""Results as text on a terminal."""
