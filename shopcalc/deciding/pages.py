"""The card for people: as tables, as text, as plain data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from shopcalc.deciding.card import Card
from shopcalc.deciding.choosing import Offer, Way
from shopcalc.deciding.next_hour import Saving
from shopcalc.documents import Table
from shopcalc.documents.plain import as_lines


def tables(
    card: Card, ways: Sequence[Way] = (), savings: Sequence[Saving] = (), offers: Sequence[Offer] = ()
) -> tuple[Table, ...]:
    """Tables of a card: what it brings, what it turns on, ways side by side, make against buy, the next hour.

    Parameters
    ----------
    card : Card
        From ``decide``.
    ways : sequence of Way, optional
        From ``ways``.
    savings : sequence of Saving, optional
        From ``next_hours``.
    offers : sequence of Offer, optional
        From ``make_or_buy``.
    """
    found = [
        _brings(card),
        *_market(card),
        _turns(card),
        _ways(ways, card),
        _offers(offers, card),
        _savings(savings, card),
    ]
    return tuple(t for t in found if t.rows)


def as_text(found: Sequence[Table]) -> str:
    """Tables as text for a terminal.

    Parameters
    ----------
    found : sequence of Table
        From ``tables``.
    """
    return "\n".join(line.rstrip() for t in found for line in (*as_lines(t), "")) + "\n"


def as_json(
    card: Card, ways: Sequence[Way] = (), savings: Sequence[Saving] = (), offers: Sequence[Offer] = ()
) -> dict[str, Any]:
    """The card as plain data, for ``json.dumps``.

    Parameters
    ----------
    card, ways, savings, offers
        As in ``tables``.
    """
    p = card.price
    return {
        "floor": float(p.floor),
        "asked": float(p.asked),
        "p50": float(p.p50),
        "p80": float(p.p80),
        "p90": float(p.p90),
        "loss_share": card.loss_share,
        "earned_per_hour": _number(p.earned_per_hour),
        "wanted_per_hour": float(card.wanted_per_hour),
        "hours": round(p.estimate.own_hours, 4),
        "hours_one_person_alone": round(card.alone.hours, 4),
        "share_one_person_alone": round(card.alone.share, 4),
        "machine_share_of_year": round(card.machine_share, 5),
        "market": _market_data(card),
        "turns_on": [
            {"what": t.what, "floor_low": float(t.low), "floor_high": float(t.high), "why": t.why} for t in card.turns
        ],
        "ways": [
            {
                "name": w.name,
                "floor": float(w.price.floor),
                "asked": float(w.price.asked),
                "hours": round(w.price.estimate.own_hours, 4),
                "machine_minutes": round(w.price.estimate.machine_seconds / 60, 3),
                "note": w.note,
            }
            for w in ways
        ],
        "offers": [
            {
                "part": o.part,
                "pieces": o.pieces,
                "make": float(o.make),
                "buy": float(o.buy),
                "hours": round(o.hours, 4),
                "machine_minutes": round(o.machine_minutes, 3),
                "made_earns_per_hour": _number(o.made_earns),
            }
            for o in offers
        ],
        "next_hours": [
            {
                "change": s.change,
                "money": float(s.money),
                "hours": round(s.hours, 4),
                "machine_minutes": round(s.machine_minutes, 3),
                "outlay": float(s.outlay),
                "pays_back_after_jobs": _number(s.pays_back_after),
                "check": s.check,
            }
            for s in savings
        ],
    }


def _number(value: float | Decimal | None) -> float | None:
    return None if value is None else round(float(value), 4)


def _money(value: Decimal | float, signed: bool = False) -> str:
    return f"{value:+,.0f}" if signed else f"{value:,.0f}"


def _brings(card: Card) -> Table:
    p, a = card.price, card.alone
    earned = p.earned_per_hour
    rows = [
        ("floor price", _money(p.floor), "all costs and their risk, no margin"),
        ("asked price", _money(p.asked), f"margin {100 * p.margin:.1f} % of the price, {100 * p.markup:.1f} % on cost"),
        ("what such jobs cost", f"{_money(p.p50)} / {_money(p.p80)} / {_money(p.p90)}", _odds(card)),
    ]
    if earned is not None:
        better = "more" if earned >= card.wanted_per_hour else "LESS"
        wanted = f"the shop's own rates ask for {card.wanted_per_hour:.2f}: {better} than that"
        rows.append(("earned by each of our hours", f"{earned:.2f}", wanted))
    rows += [
        ("hours of our own people", f"{p.estimate.own_hours:.1f} h", ""),
        ("of these one person alone can do", f"{100 * a.share:.0f} %", ", ".join(f"{n} {h:.1f} h" for n, h in a.who)),
        (
            "machine",
            f"{p.estimate.machine_seconds / 3600:.1f} h",
            f"{100 * card.machine_share:.1f} % of what it runs in a year",
        ),
    ]
    return Table("Take this job?", ("", p.currency, "what it means"), tuple(rows), frozenset({1}))


def _market(card: Card) -> Iterator[Table]:
    m, p = card.market, card.price
    if m is None:
        return
    rows = tuple(
        (name, _money(price), f"{100 * c[1]:.0f} %", f"{100 * c[0]:.0f} to {100 * c[2]:.0f} %", gain)
        for name, price, c, gain in (
            ("asked price", p.asked, m.chance_asked, _money(m.earns_asked)),
            ("greatest expected earnings", m.best, m.chance_best, _money(m.earns_best)),
        )
    )
    below = (
        f"By {m.won} quotes won and {m.lost} lost, at {_money(m.tried[0])} to {_money(m.tried[1])} for a job of this "
        f"floor price ({_money(p.floor)}); the best price lies between {_money(m.low)} and {_money(m.high)} with "
        "a chance of 80 %.",
        "Expected earnings: the chance of winning times the price less the mean cost; jobs are taken as alike.",
        *(f"Look: {t}." for t in m.doubts),
    )
    head = ("", p.currency, "won", "80 % sure", "expected earnings")
    yield Table("What the market bears", head, rows, frozenset({1, 2, 3, 4}), below)


def _market_data(card: Card) -> dict[str, Any] | None:
    m = card.market
    if m is None:
        return None
    return {
        "won": m.won,
        "lost": m.lost,
        "tried": [float(v) for v in m.tried],
        "best": float(m.best),
        "best_low": float(m.low),
        "best_high": float(m.high),
        "chance_best": [round(c, 4) for c in m.chance_best],
        "chance_asked": [round(c, 4) for c in m.chance_asked],
        "expected_earnings_best": float(m.earns_best),
        "expected_earnings_asked": float(m.earns_asked),
        "doubts": list(m.doubts),
    }


def _odds(card: Card) -> str:
    odds = {
        0.1: "at the asked price fewer than one in ten loses money",
        0.2: "at the asked price one or two in ten lose money",
    }
    worse = "at the asked price up to half of such jobs lose money"
    return "half / four of five / nine of ten up to this; " + odds.get(
        card.loss_share,
        worse if card.loss_share == 0.5 else "AT THE ASKED PRICE MORE THAN HALF OF SUCH JOBS LOSE MONEY",
    )


def _turns(card: Card) -> Table:
    widest = max((t.swing for t in card.turns), default=Decimal(1))
    rows = tuple(
        (t.what, _money(t.low), _money(t.high), "▇" * max(1, round(16 * float(t.swing / widest))), t.why)
        for t in card.turns
    )
    head = ("what strays", "floor, good end", "bad end", "", "how far")
    below = f"One thing strays at a time; the floor price as it stands is {_money(card.price.floor)}."
    return Table("What the price turns on", head, rows, frozenset({1, 2}), (below,))


def _ways(found: Sequence[Way], card: Card) -> Table:
    rows = tuple(
        (
            w.name,
            _money(w.price.asked),
            _money(w.price.asked - card.price.asked, signed=True),
            f"{w.price.estimate.own_hours:.1f}",
            f"{w.price.estimate.machine_seconds / 3600:.1f}",
            "–" if w.price.earned_per_hour is None else f"{w.price.earned_per_hour:.2f}",
            w.note,
        )
        for w in found
    )
    head = ("way", "asked", "against now", "our hours", "machine h", "earned per hour", "check")
    return Table("Ways to make it, side by side", head, rows, frozenset({1, 2, 3, 4, 5}))


def _offers(found: Sequence[Offer], card: Card) -> Table:
    rows = tuple(
        (
            _called(o, card),
            str(o.pieces),
            _money(o.make),
            _money(o.buy),
            f"{o.hours:.1f}",
            "–" if o.made_earns is None else f"{o.made_earns:.2f}",
            f"buying saves {_money(o.saved)}" if o.saved > 0 else f"making saves {_money(-o.saved)}",
        )
        for o in found
    )
    head = ("part", "pieces", "make", "buy", "our hours", "an hour on it earns", "")
    below = ["A bought part is taken to come finished: its sanding and coats are counted among what buying frees."]
    if card.price.earned_per_hour:
        below.append(f"This job's other hours earn {card.price.earned_per_hour} each.")
    if any(o.made_earns is not None and o.made_earns < 0 for o in found):
        below.append(
            "An hour that earns less than nothing: wood, machine and risk alone cost more than the seller asks."
        )
    return Table("Make or buy", head, rows, frozenset({1, 2, 3, 4, 5}), tuple(below))


def _called(o: Offer, card: Card) -> str:
    titles = {p.id: p.title for p in card.price.estimate.job.parts}
    return titles.get(o.part) or o.part


def _savings(found: Sequence[Saving], card: Card) -> Table:
    rows = tuple(
        (str(k), _money(s.money), f"{s.hours:.2f}", f"{s.machine_minutes:.1f}", _change(s))
        for k, s in enumerate(found, 1)
    )
    head = ("", f"saves {card.price.currency}", "our h", "machine min", "change, and what to look at first")
    below = "Each by itself, timed and priced anew; two that touch the same program do not add up."
    return Table(
        "Where the next hour is: free changes first, then those with an outlay",
        head,
        rows,
        frozenset({0, 1, 2, 3}),
        (below,),
    )


def _change(s: Saving) -> str:
    once = f"; {_money(s.outlay)} once, back after {s.pays_back_after:.1f} such jobs" if s.outlay else ""
    return f"{s.change} ({s.check}{once})"
