"""The folder that the page shows: what lies in it, found quickly, and every text that a file has had."""
