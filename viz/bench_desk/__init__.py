"""A job on the page: its file and what was typed, the rack of hobs, and the work that each change asks for."""
