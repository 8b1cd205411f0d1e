"""What is said of a gear that was measured, rolled, named or inspected."""
