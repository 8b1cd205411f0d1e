"""Two gears as cut, rolled together on parallel shafts: what one hands on, where they bear, the play."""
