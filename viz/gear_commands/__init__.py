"""The commands that begin with a gear: one to be measured, rolled, named, inspected or traced to its set-up."""
