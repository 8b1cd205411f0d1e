"""Where output goes, and in which letters and colours."""
