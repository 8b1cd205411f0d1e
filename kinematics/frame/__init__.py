"""What everything stands on: two-way words and their signs, checks of arguments, motions, the blank and its field."""
