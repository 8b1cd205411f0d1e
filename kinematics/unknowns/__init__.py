"""A train with unknown numbers: what counts at the machine say of them."""
