"""From a wrong cut back to its cause."""
