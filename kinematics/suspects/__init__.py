"""Which slips explain what was seen, how likely each is, and what to look at next."""
