"""Gears as the drawing has them: sizes to turn to and measure by, pairs, splines, chain and worm wheels."""
