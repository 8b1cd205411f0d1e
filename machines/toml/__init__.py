"""Files as text, values and places, and the complaints that stand at them."""
