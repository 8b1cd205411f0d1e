"""The proof of a set-up: its judgement, and what to do about it, tried first."""
