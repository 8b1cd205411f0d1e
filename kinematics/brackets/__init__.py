"""The brackets that change gears are mounted on, and the drawer they come from."""
