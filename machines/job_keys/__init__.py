"""The keys of a job's file and of what was counted or measured: work, hob, set-up, what was seen."""
