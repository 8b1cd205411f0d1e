"""A job's file: drawing, hob, set-up, and what is particular to halves and to work that has teeth."""
