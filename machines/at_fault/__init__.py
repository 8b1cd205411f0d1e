"""Which parts of a set-up left what records of its gear show, and how big they are there."""
