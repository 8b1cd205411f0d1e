"""What is measured on a finished gear, taken apart into waves of exactly known orders."""
