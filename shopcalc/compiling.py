"""Loops that see every block of a program or every place of a surface, compiled."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a plain loop over arrays and floats at its first call, and keep it on the disk where there is a place.

    Without the compiler (``NUMBA_DISABLE_JIT=1``) it runs as it stands, slowly.

    Parameters
    ----------
    function : callable
        Of arrays, floats, whole numbers and truth values; a division by zero in it gives inf, as in numpy.
    """
    from numba import njit  # 0.2 s and 70 MB: only for those who need it

    try:
        return njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # no folder can be written
        return njit(nogil=True, error_model="numpy")(function)
