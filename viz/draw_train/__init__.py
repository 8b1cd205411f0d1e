"""The drive train as a drawing."""
