"""Two versions of a program: what changed, in moves, minutes and depth."""

from __future__ import annotations

from shopcalc.comparing.changes import Change, Comparison, compare

__all__ = ["Change", "Comparison", "compare"]
