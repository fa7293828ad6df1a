"""The compiled sweep: every section of a body along every move against every keep-out.

Over the heights at which a section and a keep-out meet, the room between them along a straight move is a convex
function of the way: the signed distance of a point from a convex outline is convex, and the radius a cone shows at the
keep-out's edge is concave. So the least room is found surely, by golden section. Arcs are taken as chords, and the
room they may take beyond them is added to the body.
"""

from __future__ import annotations

import math

import numpy as np

from shopcalc.compiling import compiled
from shopcalc.moves import PLANE_AXES

_GOLDEN = (math.sqrt(5.0) - 1) / 2
_HALVINGS = 40  # of the way, when the ends of a touch are looked for

assert PLANE_AXES == ((0, 1, 2), (2, 0, 1), (1, 2, 0))  # what the loops below take for granted


@compiled
def _room(x, y, z, keep, section):  # type: ignore[no-untyped-def]
    """Sideways room between the section of a body whose tip is at x, y, z and a keep-out; negative is overlap."""
    dx, dy = x - keep[0], y - keep[1]
    u = abs(dx * keep[5] + dy * keep[6]) - keep[2]
    v = abs(dy * keep[5] - dx * keep[6]) - keep[3]
    out = math.sqrt(max(u, 0.0) ** 2 + max(v, 0.0) ** 2) + min(max(u, v), 0.0) - keep[4]
    low, high, r_low, r_high = section[0], section[1], section[2], section[3]
    radius = r_low
    if r_high > r_low:
        radius += (r_high - r_low) * min(1.0, max(0.0, (keep[8] - z - low) / (high - low)))
    elif r_high < r_low:
        radius += (r_high - r_low) * min(1.0, max(0.0, (keep[7] - z - low) / (high - low)))
    return out - radius


@compiled
def _straight(a, b, keep, section, more, out):  # type: ignore[no-untyped-def]
    """Least room along a to b; fills out with room, share of the way, lowest z while overlapping. True for a hit."""
    low, high = keep[7] - section[1] - more, keep[8] - section[0] + more  # of the tip, where heights meet
    z0, rise = a[2], b[2] - a[2]
    t0, t1 = 0.0, 1.0
    if rise == 0.0:
        if z0 <= low or z0 >= high:
            return False
    else:
        first, last = (low - z0) / rise, (high - z0) / rise
        t0, t1 = max(t0, min(first, last)), min(t1, max(first, last))
        if t0 >= t1:
            return False
    dx, dy = b[0] - a[0], b[1] - a[1]
    wide = max(section[2], section[3]) + keep[4] + more
    middle = 0.5 * (t0 + t1)
    x, y = a[0] + middle * dx - keep[0], a[1] + middle * dy - keep[1]
    half = 0.5 * (t1 - t0)
    along, across = half * abs(dx * keep[5] + dy * keep[6]), half * abs(dy * keep[5] - dx * keep[6])
    if (
        abs(x * keep[5] + y * keep[6]) > keep[2] + along + wide
        or abs(y * keep[5] - x * keep[6]) > keep[3] + across + wide
    ):
        return False
    flat = math.sqrt(dx * dx + dy * dy)
    if flat > 0.0:  # a line parallel to the way parts the two
        side = keep[2] * abs(dy * keep[5] - dx * keep[6]) + keep[3] * abs(dx * keep[5] + dy * keep[6])
        if abs(x * dy - y * dx) > side + wide * flat:
            return False
    near, r = t0, t1
    p, q = r - _GOLDEN * (r - near), near + _GOLDEN * (r - near)
    fp = _room(a[0] + p * dx, a[1] + p * dy, z0 + p * rise, keep, section)
    fq = _room(a[0] + q * dx, a[1] + q * dy, z0 + q * rise, keep, section)
    long = math.sqrt(dx * dx + dy * dy + rise * rise)
    while (r - near) * long > 1e-7:
        if fp <= fq:
            r, q, fq = q, p, fp
            p = r - _GOLDEN * (r - near)
            fp = _room(a[0] + p * dx, a[1] + p * dy, z0 + p * rise, keep, section)
        else:
            near, p, fp = p, q, fq
            q = near + _GOLDEN * (r - near)
            fq = _room(a[0] + q * dx, a[1] + q * dy, z0 + q * rise, keep, section)
    best = 0.5 * (near + r)
    least = _room(a[0] + best * dx, a[1] + best * dy, z0 + best * rise, keep, section)
    for t in (t0, t1):  # the ends themselves are never reached from inside
        at = _room(a[0] + t * dx, a[1] + t * dy, z0 + t * rise, keep, section)
        if at < least:
            best, least = t, at
    if least - more >= 0.0:
        return False
    out[0], out[1] = least - more, best
    lowest = z0 + best * rise
    if rise != 0.0:  # the overlap ends where the room is zero, on the lower side
        end = t1 if rise < 0 else t0
        if _room(a[0] + end * dx, a[1] + end * dy, z0 + end * rise, keep, section) < more:
            lowest = z0 + end * rise
        else:
            near, r = best, end
            for _ in range(_HALVINGS):
                mid = 0.5 * (near + r)
                if _room(a[0] + mid * dx, a[1] + mid * dy, z0 + mid * rise, keep, section) < more:
                    near = mid
                else:
                    r = mid
            lowest = z0 + r * rise
    out[2] = lowest - more
    return True


@compiled
def _along_arc(a, b, centre, sweep, plane, error, keep, section, chord, out):  # type: ignore[no-untyped-def]
    """As ``_straight`` for an arc, in chords; the body grows by what an arc may leave its chord by."""
    p, q, n = (0, 1, 2) if plane == 0 else ((2, 0, 1) if plane == 1 else (1, 2, 0))
    du, dv = a[p] - centre[p], a[q] - centre[q]
    radius = math.sqrt(du * du + dv * dv)
    step = 2.0 * math.acos(max(0.0, 1.0 - error / max(radius, error)))
    count = max(1, math.ceil(abs(sweep) / max(step, 1e-6)))
    begin = math.atan2(dv, du)
    more = radius * (1.0 - math.cos(0.5 * abs(sweep) / count)) + abs(
        math.sqrt((b[p] - centre[p]) ** 2 + (b[q] - centre[q]) ** 2) - radius
    )
    found = False
    least, share, lowest = 0.0, 0.0, 0.0
    for k in range(3):
        chord[0, k] = a[k]
    for i in range(1, count + 1):
        t = i / count
        chord[1, p] = centre[p] + radius * math.cos(begin + t * sweep)
        chord[1, q] = centre[q] + radius * math.sin(begin + t * sweep)
        chord[1, n] = a[n] + t * (b[n] - a[n])
        if i == count:
            for k in range(3):
                chord[1, k] = b[k]
        if _straight(chord[0], chord[1], keep, section, more, out):
            if not found or out[0] < least:
                least, share = out[0], (i - 1 + out[1]) / count
            if not found or out[2] < lowest:
                lowest = out[2]
            found = True
        for k in range(3):
            chord[0, k] = chord[1, k]
    if found:
        out[0], out[1], out[2] = least, share, lowest
    return found


@compiled
def sweep(  # type: ignore[no-untyped-def]
    points, kind, body, arc_at, arc_centre, arc_sweep, arc_plane, error, sections, first, keeps, all_hits, hits
):
    """Fill hits with (move, section, keep-out, room, share, lowest z); count all of them, and the worst room.

    body is the index of each move's body, -1 for none; first[b] to first[b + 1] are its sections; arc_at is the arc's
    number at each move, or -1. Without all_hits one hit of each keep-out is enough.
    """
    count, worst = 0, np.inf
    out, chord = np.zeros(3), np.zeros((2, 3))
    for k in range(len(keeps)):
        keep = keeps[k]
        c, s = abs(keep[5]), abs(keep[6])
        half_x = keep[2] * c + keep[3] * s + keep[4]
        half_y = keep[2] * s + keep[3] * c + keep[4]
        before = count
        for i in range(len(kind)):
            if count > before and not all_hits:
                break
            if kind[i] > 2 or body[i] < 0:
                continue
            a, b = points[i], points[i + 1]
            arc = arc_at[i]
            begin, end = first[body[i]], first[body[i] + 1]
            wide, x0, x1 = 0.0, min(a[0], b[0]), max(a[0], b[0])
            y0, y1, z0, z1 = min(a[1], b[1]), max(a[1], b[1]), min(a[2], b[2]), max(a[2], b[2])
            for j in range(begin, end):
                wide = max(wide, sections[j, 2], sections[j, 3])
            if arc >= 0:  # the whole circle, and what its end may lie off it
                c0, plane = arc_centre[arc], arc_plane[arc]
                p, q = (0, 1) if plane == 0 else ((2, 0) if plane == 1 else (1, 2))
                one = math.sqrt((a[p] - c0[p]) ** 2 + (a[q] - c0[q]) ** 2)
                two = math.sqrt((b[p] - c0[p]) ** 2 + (b[q] - c0[q]) ** 2)
                radius, more = max(one, two), error + abs(one - two)
                if plane != 2:
                    x0, x1 = min(x0, c0[0] - radius), max(x1, c0[0] + radius)
                if plane != 1:
                    y0, y1 = min(y0, c0[1] - radius), max(y1, c0[1] + radius)
                if plane != 0:
                    z0, z1 = min(z0, c0[2] - radius), max(z1, c0[2] + radius)
                wide, z0, z1 = wide + more, z0 - more, z1 + more
            if (
                x0 > keep[0] + half_x + wide
                or x1 < keep[0] - half_x - wide
                or y0 > keep[1] + half_y + wide
                or y1 < keep[1] - half_y - wide
                or z0 >= keep[8]
            ):
                continue
            for j in range(begin, end):
                if z0 + sections[j, 0] >= keep[8] or z1 + sections[j, 1] <= keep[7]:
                    continue
                if arc < 0:
                    hit = _straight(a, b, keep, sections[j], 0.0, out)
                else:
                    hit = _along_arc(
                        a, b, arc_centre[arc], arc_sweep[arc], arc_plane[arc], error, keep, sections[j], chord, out
                    )
                if hit:
                    worst = min(worst, out[0])
                    if count < len(hits):
                        hits[count, 0], hits[count, 1], hits[count, 2] = i, j, k
                        hits[count, 3], hits[count, 4], hits[count, 5] = out[0], out[1], out[2]
                    count += 1
    return count, worst
