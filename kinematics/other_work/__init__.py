"""Splines, chain wheels and worm wheels, and the racks that cut them."""
