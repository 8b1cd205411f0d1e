"""A train with open links: what its brackets do, what they must give, how rates answer to them."""
