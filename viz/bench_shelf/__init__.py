"""The pages over the whole folder: what lies on the shelf, what is begun, and which machine cuts which order."""
