"""Single flanks as the hob leaves them: which passages can touch, and what they take."""
