"""The jobs that ship, one folder a story."""
