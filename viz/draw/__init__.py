"""Drawings of a set-up: train, brackets, head, marks, charts."""
