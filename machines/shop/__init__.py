"""The shop's questions: many orders, several machines, one set of gears; asked of as many workers as there are."""
