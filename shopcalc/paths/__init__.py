"""Paths before a program exists: from dimensions to Moves."""
