"""Machine and job files in, frozen results out: knows kinematics, never pictures."""
