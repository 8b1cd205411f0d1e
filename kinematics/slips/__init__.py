"""Slips that people make in a set-up, what each leaves on the blank, and which explain what was seen."""
