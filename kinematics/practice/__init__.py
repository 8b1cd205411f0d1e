"""What experience says: cutting data, times and marks; starting values, all of them."""
