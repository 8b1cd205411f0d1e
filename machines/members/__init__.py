"""The gears of one member of a job: every choice proved, or why there is none."""
