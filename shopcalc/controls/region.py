"""The region of settings that keep every bound, in the plane of spindle speed and feed, and its named sides."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from shopcalc.cutting.limits import Bound, Loads, bounds, habit
from shopcalc.moves import Floats

_ENDLESS, _JUMP = 1e6, 1e3  # used share where nothing is left to use, and what only a jump reaches


@dataclass(frozen=True)
class Curve:
    """Where one bound ends in the plane of spindle speed and feed.

    Parameters
    ----------
    name : str
        Of the bound, or of several that end at the same place.
    hard : bool
        Whether one of them is.
    rpm, feed : (n,) float
        Of the curve, with nan between its pieces [rev/min], as run [mm/min].
    """

    name: str
    hard: bool
    rpm: Floats
    feed: Floats


def region(loads: Loads, rpm: Floats, feed: Floats) -> tuple[Floats, list[Curve], list[str]]:
    """Which settings keep every bound, and the curve each bound ends at.

    Parameters
    ----------
    loads : Loads
        Of the cut and its division into passes.
    rpm : (n,) float
        Ascending [rev/min].
    feed : (m,) float
        Ascending, as run [mm/min].

    Returns
    -------
    passed : (m, n) float
        1 where a bound is passed, 0 where all are kept [-].
    curves : list of Curve
        Of the bounds that end inside the window.
    everywhere : list of str
        Names of bounds that are passed in the whole window.
    """
    x, y = np.meshgrid(rpm, feed)
    passed, everywhere = np.zeros(x.shape, bool), []
    alike: dict[bytes, tuple[list[Bound], Floats, Floats]] = {}
    for b in bounds(loads, x, y):
        most = 1 - habit("reserve") if b.reserve else 1.0
        beyond = np.broadcast_to(np.nan_to_num(b.used, nan=0.0, posinf=_ENDLESS) - most - 1e-9, x.shape)
        over = beyond > 0
        passed |= over
        if over.all():
            everywhere.append(b.name)
        elif over.any():
            line = _edge(beyond, rpm, feed)
            if len(line[0]):
                alike.setdefault(over.tobytes(), ([], line[0], line[1]))[0].append(b)
    curves = []
    for together, x, y in alike.values():
        names = [b.name for b in together]
        if "stalls" in names and "stalls by torque" in names:  # the same, said of power and of torque
            names.remove("stalls by torque")
        curves.append(Curve(", ".join(names), any(b.hard for b in together), x, y))
    return passed.astype(float), curves, everywhere


def _edge(beyond: Floats, rpm: Floats, feed: Floats) -> tuple[Floats, Floats]:
    """Where a bound's excess passes zero: for every speed the feed at which it does, and upright stretches apart.

    At one speed each bound grows, falls or is convex over the feed, so that there are two such feeds at most. Where
    there is nothing to use up, as of a spindle's power outside its speeds, a bound jumps and has no curve.
    """
    level = _crossings(beyond, feed)
    pieces = [(rpm, line) for line in level]
    for upright in _crossings(beyond.T, rpm):
        # a stretch that the level lines already show at both neighbouring speeds is left out
        at = np.clip(np.searchsorted(rpm, np.nan_to_num(upright)), 1, len(rpm) - 1)
        near = 1.5 * (feed[1] - feed[0])
        shown = np.zeros(len(feed), bool)
        for line in level:
            with np.errstate(invalid="ignore"):
                shown |= (np.abs(line[at - 1] - feed) < near) | (np.abs(line[at] - feed) < near)
        pieces.append((np.where(shown, math.nan, upright), feed))
    pieces = [(x, y) for x, y in pieces if np.isfinite(x + y).any()]
    if not pieces:
        return np.zeros(0), np.zeros(0)
    gap = np.array([math.nan])
    xs = [v for x, _ in pieces for v in (x, gap)]
    ys = [v for _, y in pieces for v in (y, gap)]
    return np.concatenate(xs)[:-1], np.concatenate(ys)[:-1]


def _crossings(beyond: Floats, along: Floats) -> tuple[Floats, Floats]:
    """For each column the place where the excess first falls through zero, and where it last rises; nan for none."""
    over = beyond > 0
    columns = np.arange(beyond.shape[1])
    out = []
    for turn, last in ((over[:-1] & ~over[1:], False), (~over[:-1] & over[1:], True)):
        i = len(turn) - 1 - np.argmax(turn[::-1], axis=0) if last else np.argmax(turn, axis=0)
        a, b = beyond[i, columns], beyond[i + 1, columns]
        place = along[i] + a / np.where(a == b, 1.0, a - b) * (along[i + 1] - along[i])
        gentle = np.maximum(a, b) < _JUMP
        out.append(np.where(turn.any(axis=0) & gentle, place, math.nan))
    return out[0], out[1]


def curve_names(
    curves: list[Curve], left: float, right: float, top: float, *, tall: float, wide: float
) -> list[dict[str, Any]]:
    """Names at the ends of the curves: in the right margin, or above where they leave at the top; none overlap.

    Parameters
    ----------
    curves : list of Curve
        From ``region``.
    left, right : float
        Ends of the window [rev/min].
    top : float
        Its greatest feed [mm/min].
    tall, wide : float
        Room one name needs, as share of the plane's height and width [-].

    Returns
    -------
    list of dict
        Annotations as plotly takes them.
    """
    beside: list[tuple[float, str]] = []
    above: list[tuple[float, str]] = []
    for c in curves:
        known = np.flatnonzero(np.isfinite(c.feed) & np.isfinite(c.rpm))
        if not len(known):
            continue
        end = known[np.argmax(c.rpm[known] / right + 1e-3 * c.feed[known] / top)]
        x, y = (c.rpm[end] - left) / (right - left), c.feed[end] / top
        words = f"{c.name} (hard)" if c.hard else c.name
        (beside if x > 0.985 and y < 0.985 else above).append((y if x > 0.985 and y < 0.985 else x, words))
    out = []
    common = {"xref": "paper", "yref": "paper", "showarrow": False, "xanchor": "left", "font": {"size": 13}}
    for at, (_, words) in zip(_spread([v for v, _ in sorted(beside)], tall), sorted(beside), strict=True):
        out.append({**common, "x": 1.005, "y": at, "yanchor": "middle", "text": words})
    for at, (_, words) in zip(_spread([v for v, _ in sorted(above)], wide), sorted(above), strict=True):
        out.append({**common, "x": at, "y": 1.0, "yanchor": "bottom", "text": words, "textangle": -35})
    return out


def _spread(places: list[float], apart: float) -> list[float]:
    """Ascending places moved as little as needed to lie apart, from 0 to 1."""
    out: list[float] = []
    for p in places:
        out.append(max(p, out[-1] + apart) if out else p)
    for i in range(len(out) - 1, -1, -1):
        out[i] = min(out[i], 1.0 if i == len(out) - 1 else out[i + 1] - apart)
    return out
