"""Cutting data for a job: speeds, feeds, travel and time."""
