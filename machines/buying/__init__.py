"""Which gears to get for a pile of orders, proved least."""
