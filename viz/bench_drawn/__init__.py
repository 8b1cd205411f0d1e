"""The parts of a job's page as they are drawn and written."""
