"""A good order quickly: neighbouring blocks change places, now and then for the worse, ever less so as it cools."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

_TRIES_EACH = 1500  # exchanges tried for each batch
_LONGEST = 6  # batches in a block


def puts_in(order: Sequence[int], needs: Sequence[frozenset[int]], places: int, standing: frozenset[int]) -> int:
    """How many cutters are put into the rack, the farthest next use going out first.

    Parameters
    ----------
    order : sequence of int
        Batches.
    needs : sequence of frozenset of int
        Cutters of each batch.
    places : int
        Of the rack [-].
    standing : frozenset of int
        Cutters in it at the start.

    Returns
    -------
    int
        [-]
    """
    coming: dict[int, list[int]] = {}
    for at in range(len(order) - 1, -1, -1):
        for c in needs[order[at]]:
            coming.setdefault(c, []).append(at)  # the next use stands last
    there, count, never = set(standing), 0, [len(order)]
    for i in order:
        need = needs[i]
        missing = need - there
        if missing:
            count += len(missing)
            surplus = len(there) + len(missing) - places
            if surplus > 0:
                idle = sorted(there - need, key=lambda c: (coming.get(c) or never)[-1], reverse=True)
                there.difference_update(idle[:surplus])
            there |= missing
        for c in need:
            coming[c].pop()
    return count


def improved(
    start: Sequence[int],
    between: Sequence[Sequence[int]],
    must: Sequence[set[int]],
    needs: Sequence[frozenset[int]] | None,
    places: int,
    standing: frozenset[int],
    put_in: int,
    seed: int,
) -> list[int]:
    """A better order than the one to begin with, or the same.

    Parameters
    ----------
    start : sequence of int
        Batches from 1 on, keeping every precedence.
    between : (n + 1, n + 1) sequence of int
        Cost of each change; row 0 is the begin.
    must : sequence of set of int
        All that come before each batch.
    needs : sequence of frozenset of int, optional
        Cutters of each batch; None where the rack has a place for all.
    places : int
        Of the rack [-].
    standing : frozenset of int
        Cutters in it at the start.
    put_in : int
        Cost of putting a cutter in.
    seed : int
        Of the chances [-].

    Returns
    -------
    list of int
        Keeps every precedence.
    """
    chance, n = random.Random(seed), len(start)
    ahead = [sum(1 << i for i in m) for m in must]
    order, count = list(start), 0 if needs is None else puts_in(start, needs, places, standing)
    fewest = 0 if needs is None else len(frozenset().union(*needs) - standing)
    cost = best_cost = sum(between[i][j] for i, j in zip([0, *order[:-1]], order, strict=True)) + count * put_in
    best, tries = list(order), _TRIES_EACH * n
    hot = max(max(row) for row in between) / 2
    for k in range(tries):
        a = chance.randrange(n - 1)
        b = a + 1 + chance.randrange(min(_LONGEST, n - 1 - a))
        c = b + 1 + chance.randrange(n - b)
        left, right = order[a:b], order[b:c]
        mask = sum(1 << i for i in left)
        if any(ahead[j] & mask for j in right):
            continue
        before, after = (order[a - 1] if a else 0), (order[c] if c < n else -1)
        delta = between[before][right[0]] + between[right[-1]][left[0]]
        delta -= between[before][left[0]] + between[left[-1]][right[0]]
        if after > 0:
            delta += between[left[-1]][after] - between[right[-1]][after]
        worse = -hot * 0.002 ** (k / tries) * math.log(1.0 - chance.random())
        if delta - (count - fewest) * put_in > worse:
            continue
        now, new = count, [*order[:a], *right, *left, *order[c:]]
        if needs is not None:
            now = puts_in(new, needs, places, standing)
            delta += (now - count) * put_in
        if delta > worse:
            continue
        order, count, cost = new, now, cost + delta
        if cost < best_cost:
            best, best_cost = list(order), cost
    return best
