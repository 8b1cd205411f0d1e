"""Documents back to text, and the reference of all keys."""
