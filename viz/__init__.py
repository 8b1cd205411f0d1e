"""Whatever a person looks at: the command line, reports, sheets and pictures."""
