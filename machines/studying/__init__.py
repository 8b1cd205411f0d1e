"""How sure a set-up is against what is loose in its machine."""
