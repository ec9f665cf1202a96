"""Numbers to names: what a measured spot is consistent with, and how much that says. Knows neither pixels, disk nor web."""
