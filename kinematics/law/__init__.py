"""The law of generation: from rates to the gear that they make, and to the marks of a light cut."""
