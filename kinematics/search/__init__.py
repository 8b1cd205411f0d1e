"""Change gears out of a drawer and into brackets: nearest to ratios, alone, together, or tied by an equation."""
