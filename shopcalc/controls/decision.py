"""Take this job: what its price turns on as bars about the floor, and the card's tables below."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, PALE, figure, note, table
from shopcalc.deciding import Card, Offer, Saving, Way, decide, next_hours, tables, ways
from shopcalc.documents import Table
from shopcalc.documents.blocks import cell_text
from shopcalc.quote import Price
from shopcalc.shop import Shop

_TURNS = "What the price turns on"
_ROW = 34  # of one bar [px]


def turns_figure(card: Card) -> go.FigureWidget:
    """What the floor price does when one thing strays at a time, widest swing at the top.

    Parameters
    ----------
    card : Card
        From ``deciding.decide``.

    Returns
    -------
    FigureWidget
        The good end pale, the bad end dark, the floor price as it stands between them.
    """
    floor, names = float(card.price.floor), [t.what for t in card.turns]

    def bar(name: str, ends: Sequence[float], color: str) -> go.Bar:
        return go.Bar(
            name=name, orientation="h", y=names, base=floor, x=[e - floor for e in ends], marker={"color": color},
            text=[f"{e:,.0f}" for e in ends], textposition="outside", cliponaxis=False,
            customdata=[t.why for t in card.turns], hovertemplate="%{y}: %{text}, %{customdata}<extra></extra>",
        )  # fmt: skip

    low, high = ([float(getattr(t, end)) for t in card.turns] for end in ("low", "high"))
    widest = max((abs(e - floor) for e in (*low, *high)), default=1.0)
    return figure(
        [bar("good end", low, PALE), bar("bad end", high, HUE)],
        title={"text": _TURNS}, height=130 + _ROW * len(names), barmode="overlay", width=820,
        xaxis={
            "title": {"text": f"floor price, {card.price.currency}"},
            "range": [floor - 1.35 * widest, floor + 1.35 * widest], "tickformat": ",.0f",
        },
        yaxis={"autorange": "reversed", "automargin": True}, legend={"orientation": "h", "y": 1.12, "x": 0.55},
        shapes=[{
            "type": "line", "x0": floor, "x1": floor, "yref": "paper", "y0": 0, "y1": 1, "line": {"color": GREY},
        }],
    )  # fmt: skip


def take_this_job(
    priced: Price, shop: Shop | None = None, offers: Sequence[Offer] = (), *, savings: bool = True
) -> widgets.VBox:
    """The card of a job with its picture: bring, turn, ways, make or buy, next hour.

    Parameters
    ----------
    priced : Price
        From ``quote.price``.
    shop : Shop, optional
        Whose rates count; None takes the one the job was read for.
    offers : sequence of Offer, optional
        From ``deciding.make_or_buy``.
    savings : bool
        Whether to look for the next hour, which takes some seconds.
    """
    card: Card = decide(priced, shop)
    found: tuple[Way, ...] = ways(priced, shop)
    saved: tuple[Saving, ...] = next_hours(priced, shop) if savings else ()
    made = tables(card, found, saved, offers)
    shown = [widgets.HTML(_html(_without_bars(t))) for t in made]
    above = next((k for k, t in enumerate(made) if t.title == _TURNS), 1)  # what it brings, what the market bears
    return widgets.VBox([*shown[:above], turns_figure(card), *shown[above:]])


def _without_bars(t: Table) -> Table:
    """The picture has the bars already."""
    if t.title != _TURNS:
        return t
    rows = tuple((*row[:3], row[-1]) for row in t.rows)
    return Table(t.title, (*t.head[:3], t.head[-1]), rows, t.numbers, t.below)


def _html(t: Table) -> str:
    words = [k for k in range(t.columns) if k not in t.numbers]
    rows = [[cell_text(c) for c in row] for row in t.rows if row]
    return table(t.title, t.head, rows, words=words) + "".join(note(s) for s in t.below)
