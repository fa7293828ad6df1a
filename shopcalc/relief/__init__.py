"""Carving: artwork to heights, what a cutter can reach of them, the paths that cut them, and what the choices cost."""
