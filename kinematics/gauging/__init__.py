"""What measures a cut blank, knowing nothing of train, set-up or drawing."""
