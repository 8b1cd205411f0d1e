"""Pictures of a job, for a file or for axes that are there."""
