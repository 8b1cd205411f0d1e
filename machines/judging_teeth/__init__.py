"""What is looked at in the teeth themselves: pairs, wheels, keys, relief, work that has teeth already."""
