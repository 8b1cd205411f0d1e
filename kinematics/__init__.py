"""The machine as geometry and exact numbers: no files, no pictures, no clock."""
