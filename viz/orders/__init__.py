"""What a shop asks of a pile of orders, as commands and reports."""
