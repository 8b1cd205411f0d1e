"""What a drawing and a hob ask of a machine: ratios, hand, swivel, depth, travel."""
