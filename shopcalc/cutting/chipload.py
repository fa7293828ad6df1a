"""Feed, chip and power. Three thicknesses are kept apart by name: feed per tooth, mean chip and greatest chip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import (
    Numbers,
    Result,
    edge_share,
    effective_diameter,
    engagement_angle,
    mean_edge_share,
    require_at_most,
    require_positive,
)


def feed(rpm: Numbers, flutes: Numbers, feed_per_tooth: Numbers) -> Result:
    """Feed from spindle speed, flutes and feed per tooth.

    Parameters
    ----------
    rpm : float or (n,) float
        [rev/min].
    flutes : int or (n,) int
        [-].
    feed_per_tooth : float or (n,) float
        [mm/tooth].

    Returns
    -------
    float or (n,) float
        [mm/min]. Definition: n z f.

    Example
    -------
    >>> feed(18000, 2, 0.1)
    np.float64(3600.0)
    """
    require_positive(rpm=rpm, flutes=flutes, feed_per_tooth=feed_per_tooth)
    return (np.asarray(rpm, dtype=float) * flutes * feed_per_tooth)[()]


def feed_per_tooth(feed: Numbers, rpm: Numbers, flutes: Numbers) -> Result:
    """How far the cutter travels from one flute to the next. Not the thickness of the chip.

    Parameters
    ----------
    feed : float or (n,) float
        [mm/min].
    rpm : float or (n,) float
        [rev/min].
    flutes : int or (n,) int
        [-].

    Returns
    -------
    float or (n,) float
        [mm/tooth]. Definition.

    Example
    -------
    >>> feed_per_tooth(3600, 18000, 2)
    np.float64(0.1)
    """
    require_positive(feed=feed, rpm=rpm, flutes=flutes)
    return (np.asarray(feed, dtype=float) / np.multiply(rpm, flutes))[()]


def rpm_for_feed(feed: Numbers, flutes: Numbers, feed_per_tooth: Numbers) -> Result:
    """Spindle speed that gives a feed per tooth at a feed.

    Parameters
    ----------
    feed : float or (n,) float
        [mm/min].
    flutes : int or (n,) int
        [-].
    feed_per_tooth : float or (n,) float
        [mm/tooth].

    Returns
    -------
    float or (n,) float
        [rev/min]. Definition.

    Example
    -------
    >>> rpm_for_feed(3600, 2, 0.1)
    np.float64(18000.0)
    """
    require_positive(feed=feed, flutes=flutes, feed_per_tooth=feed_per_tooth)
    return (np.asarray(feed, dtype=float) / np.multiply(flutes, feed_per_tooth))[()]


def chip_at(feed_per_tooth: Numbers, angle: Numbers) -> Result:
    """Thickness of the chip where a flute stands, measured along the radius.

    Parameters
    ----------
    feed_per_tooth : float or (n,) float
        [mm/tooth].
    angle : float or (n,) float
        From where the chip is zero [rad].

    Returns
    -------
    float or (n,) float
        [mm]. Geometry: f sin(angle), the flute's path taken as a circle; good while f is small against the diameter.

    Example
    -------
    >>> round(chip_at(0.2, np.pi / 2), 3)
    np.float64(0.2)
    """
    require_positive(feed_per_tooth=feed_per_tooth)
    return (np.asarray(feed_per_tooth, dtype=float) * np.sin(angle))[()]


def greatest_share(width: Numbers, diameter: Numbers) -> Result:
    """Greatest chip over feed per tooth.

    Parameters
    ----------
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        2 sqrt(x (1 - x)) with x = width / diameter up to one half, 1 from there on [-]. Geometry.

    Example
    -------
    >>> round(greatest_share(1.2, 12), 3), greatest_share(12, 12)
    (np.float64(0.6), np.float64(1.0))
    """
    return np.sin(np.minimum(engagement_angle(width, diameter), np.pi / 2))[()]


def mean_share(width: Numbers, diameter: Numbers) -> Result:
    """Mean chip over feed per tooth, exact over the arc of engagement.

    Parameters
    ----------
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        (1 - cos angle) / angle [-]. Geometry. The rule of thumb sqrt(width / diameter) is 2 % above it at a tenth of
        the diameter and 57 % above it in a slot.

    Example
    -------
    >>> round(mean_share(6, 12), 5), round(mean_share(12, 12), 5)
    (np.float64(0.63662), np.float64(0.63662))
    """
    angle = engagement_angle(width, diameter)
    return ((1 - np.cos(angle)) / angle)[()]


def thinning_factor(width: Numbers, diameter: Numbers) -> Result:
    """Radial thinning: how many times the feed per tooth may grow before the greatest chip is what a slot's would be.

    Parameters
    ----------
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        1 / greatest share, at least 1 [-]. Geometry.

    Example
    -------
    >>> round(thinning_factor(1.2, 12), 4)
    np.float64(1.6667)
    """
    return (1 / greatest_share(width, diameter))[()]


def greatest_chip(feed_per_tooth: Numbers, width: Numbers, diameter: Numbers) -> Result:
    """Thickest place of the chip of a straight-sided cutter.

    Parameters
    ----------
    feed_per_tooth : float or (n,) float
        [mm/tooth].
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        [mm]. Geometry.

    Example
    -------
    >>> round(greatest_chip(0.2, 1.2, 12), 4)
    np.float64(0.12)
    """
    require_positive(feed_per_tooth=feed_per_tooth)
    return (np.asarray(feed_per_tooth, dtype=float) * greatest_share(width, diameter))[()]


def mean_chip(feed_per_tooth: Numbers, width: Numbers, diameter: Numbers) -> Result:
    """Chip thickness averaged over the arc of engagement, for a straight-sided cutter.

    Parameters
    ----------
    feed_per_tooth : float or (n,) float
        [mm/tooth].
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        [mm]. Geometry, exact for circular paths of the flutes.

    Example
    -------
    >>> round(mean_chip(0.2, 1.2, 12), 5)
    np.float64(0.06216)
    """
    require_positive(feed_per_tooth=feed_per_tooth)
    return (np.asarray(feed_per_tooth, dtype=float) * mean_share(width, diameter))[()]


def feed_per_tooth_for_mean_chip(mean_chip: Numbers, width: Numbers, diameter: Numbers) -> Result:
    """Feed per tooth that gives a mean chip; the inverse of ``mean_chip``.

    Parameters
    ----------
    mean_chip : float or (n,) float
        [mm].
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        [mm/tooth]. Geometry.

    Example
    -------
    >>> round(feed_per_tooth_for_mean_chip(0.0621600, 1.2, 12), 4)
    np.float64(0.2)
    """
    require_positive(mean_chip=mean_chip)
    return (np.asarray(mean_chip, dtype=float) / mean_share(width, diameter))[()]


def feed_per_tooth_for_greatest_chip(greatest_chip: Numbers, width: Numbers, diameter: Numbers) -> Result:
    """Feed per tooth that gives a greatest chip; the inverse of ``greatest_chip``.

    Parameters
    ----------
    greatest_chip : float or (n,) float
        [mm].
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        [mm/tooth]. Geometry.

    Example
    -------
    >>> round(feed_per_tooth_for_greatest_chip(0.12, 1.2, 12), 4)
    np.float64(0.2)
    """
    require_positive(greatest_chip=greatest_chip)
    return (np.asarray(greatest_chip, dtype=float) / greatest_share(width, diameter))[()]


@dataclass(frozen=True)
class Chip:
    """The chip one flute takes, whatever the cutter's shape.

    Parameters
    ----------
    feed_per_tooth : float or (n,) float
        [mm/tooth].
    mean_chip, greatest_chip : float or (n,) float
        Square to the edge [mm].
    effective_diameter : float or (n,) float
        Where the edge leaves the wood [mm].
    angle : float or (n,) float
        Arc of engagement [rad].
    mean_share, greatest_share : float or (n,) float
        The two chips over the feed per tooth [-].
    """

    feed_per_tooth: Result
    mean_chip: Result
    greatest_chip: Result
    effective_diameter: Result
    angle: Result
    mean_share: Result
    greatest_share: Result


def chip(cutter: Cutter, feed_per_tooth: Numbers, width: Numbers, depth: Numbers) -> Chip:
    """The chip of any cutter: thinned by the arc of engagement and by the slope of the edge.

    Parameters
    ----------
    cutter : Cutter
        Any shape.
    feed_per_tooth : float or (n,) float
        [mm/tooth].
    width : float or (n,) float
        Width of cut at the surface [mm].
    depth : float or (n,) float
        Of the tip below the surface [mm].

    Returns
    -------
    Chip
        The arc is taken at the effective diameter. Geometry; the mean is over the arc and along the edge.

    Raises
    ------
    InputError
        When the width is above the effective diameter at that depth, or the depth beyond the cutting length.

    Example
    -------
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> c = chip(ball, 0.2, 0.5, 0.5)
    >>> bool(c.mean_chip < c.greatest_chip < c.feed_per_tooth)
    True
    """
    require_positive(feed_per_tooth=feed_per_tooth, width_of_cut=width, depth=depth)
    across = effective_diameter(cutter, depth)
    remedy = "take a narrower cut, or go deeper where the cutter is wider"
    require_at_most("width of cut", width, f"the width of {cutter.id} at that depth", across, remedy)
    w = np.minimum(width, across)
    mean = (mean_share(w, across) * mean_edge_share(cutter, depth))[()]
    most = (greatest_share(w, across) * edge_share(cutter, depth))[()]
    f = np.asarray(feed_per_tooth, dtype=float)[()]
    return Chip(f, f * mean, f * most, across, engagement_angle(w, across), mean, most)


def removal_rate(width: Numbers, depth: Numbers, feed: Numbers) -> Result:
    """Wood removed per second by a straight-sided cut.

    Parameters
    ----------
    width, depth : float or (n,) float
        [mm].
    feed : float or (n,) float
        [mm/min].

    Returns
    -------
    float or (n,) float
        [mm3/s]. Definition.

    Example
    -------
    >>> removal_rate(6, 6, 3000)
    np.float64(1800.0)
    """
    require_positive(width=width, depth=depth, feed=feed)
    return (np.asarray(width, dtype=float) * depth * np.asarray(feed) / 60)[()]


def cutting_power(specific_energy: Numbers, removal_rate: Numbers) -> Result:
    """Mean power at the edge.

    Parameters
    ----------
    specific_energy : float or (n,) float
        Energy per volume removed, the same as mean force per chip area [N/mm2].
    removal_rate : float or (n,) float
        [mm3/s].

    Returns
    -------
    float or (n,) float
        [W]. Definition.

    Example
    -------
    >>> cutting_power(20, 1800)
    np.float64(36.0)
    """
    require_positive(specific_energy=specific_energy, removal_rate=removal_rate)
    return (np.asarray(specific_energy, dtype=float) * removal_rate / 1000)[()]


def torque(power: Numbers, rpm: Numbers) -> Result:
    """Torque of a power at a spindle speed.

    Parameters
    ----------
    power : float or (n,) float
        [W].
    rpm : float or (n,) float
        [rev/min].

    Returns
    -------
    float or (n,) float
        [N mm]. Definition: P / (2 pi n).

    Example
    -------
    >>> round(torque(36, 18000), 3)
    np.float64(19.099)
    """
    require_positive(power=power, rpm=rpm)
    return (np.asarray(power, dtype=float) * 60_000 / (2 * np.pi * np.asarray(rpm)))[()]


def mean_tangential_force(torque: Numbers, diameter: Numbers) -> Result:
    """Tangential force at the rim, averaged over a turn.

    Parameters
    ----------
    torque : float or (n,) float
        [N mm].
    diameter : float or (n,) float
        [mm].

    Returns
    -------
    float or (n,) float
        [N]. Definition.

    Example
    -------
    >>> round(mean_tangential_force(19.0986, 12), 4)
    np.float64(3.1831)
    """
    require_positive(torque=torque, diameter=diameter)
    return (2 * np.asarray(torque, dtype=float) / diameter)[()]


def mark_spacing(feed: Numbers, rpm: Numbers, flutes: Numbers = 1) -> Result:
    """Distance between the marks on the wall.

    Parameters
    ----------
    feed : float or (n,) float
        [mm/min].
    rpm : float or (n,) float
        [rev/min].
    flutes : int or (n,) int
        All flutes when they run true; 1 when one stands proud and its mark alone is left once per turn [-].

    Returns
    -------
    float or (n,) float
        [mm]. Definition.

    Example
    -------
    >>> mark_spacing(3600, 18000, 2), mark_spacing(3600, 18000)
    (np.float64(0.1), np.float64(0.2))
    """
    return feed_per_tooth(feed, rpm, flutes)


def mark_height(spacing: Numbers, diameter: Numbers) -> Result:
    """Height of the ridges between two marks on the wall.

    Parameters
    ----------
    spacing : float or (n,) float
        Distance between marks [mm].
    diameter : float or (n,) float
        [mm].

    Returns
    -------
    float or (n,) float
        [mm]. Geometry: R - sqrt(R^2 - spacing^2 / 4), nearly spacing^2 / (4 D).

    Example
    -------
    >>> round(mark_height(1.0, 12.0), 5)
    np.float64(0.02087)
    """
    require_positive(mark_spacing=spacing, diameter=diameter)
    require_at_most("mark spacing", spacing, "the diameter", diameter, "feed slower")
    r = np.asarray(diameter, dtype=float) / 2
    return (r - np.sqrt(r * r - np.asarray(spacing, dtype=float) ** 2 / 4))[()]
