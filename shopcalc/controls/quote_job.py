"""Control of notebook 06: a job, the shop's rates, the price."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, PALE, NumberControl, big, figure, note, table
from shopcalc.jobs import Job
from shopcalc.jobs.hours import Estimate, estimate
from shopcalc.logged import job_with_log
from shopcalc.quote import Price, price
from shopcalc.shop import PHASES, Rates, Shop


class QuoteControl:
    """Move rates, margin and quantity; see hours and price follow.

    Parameters
    ----------
    shop : Shop
        Whose rates are the start, corrected by what its log taught where it keeps one.
    job : Job
        What is priced; its times by the clock are taken from the log.
    """

    def __init__(self, shop: Shop, job: Job) -> None:
        self.job = job_with_log(replace(job, shop=shop))
        self.shop = self.job.shop
        self._estimates: dict[int, Estimate] = {}
        rates = self.shop.rates
        self.people = NumberControl("people's rates, % of the shop's", 100, 50, 200, 5)
        self.hours_per_year = NumberControl("machine hours in a year", rates.machine.hours_per_year, 100, 2500, 50)
        self.wood = NumberControl("wood prices, % of the shop's", 100, 50, 200, 5)
        self.margin = NumberControl("margin, % of the price", round(100 * rates.margin, 1), 0, 60, 1)
        self.quantity = NumberControl("quantity", job.quantity, 1, 50, 1)
        for control in self._all():
            control.observe(self.update)
        self._build_figures()
        self.update()

    def _all(self) -> tuple[NumberControl, ...]:
        return self.people, self.hours_per_year, self.wood, self.margin, self.quantity

    def _build_figures(self) -> None:
        names = list(PHASES)
        self.hours_figure = figure(
            [
                go.Bar(x=[], y=names, orientation="h", name="planned", marker={"color": PALE}),
                go.Bar(x=[], y=names, orientation="h", name="programmed", marker={"color": HUE}),
                go.Bar(x=[], y=names, orientation="h", name="logged", marker={"color": GREY}),
            ],
            title={"text": "Hours of the shop's own people"}, height=420, barmode="group",
            xaxis={"title": {"text": "hours"}, "rangemode": "tozero"},
            yaxis={"autorange": "reversed", "automargin": True}, legend={"orientation": "h", "y": 1.1, "x": 0.5},
        )  # fmt: skip
        self.price_figure = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", line={"color": PALE, "width": 14}, name="cost"),
                go.Scatter(
                    x=[], y=[], mode="markers+text", marker={"color": HUE, "size": 14, "symbol": "line-ns-open"},
                    textposition="top center", name="floor and asked price",
                ),
            ],
            title={"text": "The price against what such jobs cost (band: from half of them to nine in ten)"},
            height=230, showlegend=False,
            xaxis={"title": {"text": self.shop.rates.currency}}, yaxis={"visible": False, "range": [-1, 1.6]},
        )  # fmt: skip
        self.answer, self.hours_table, self.price_table, self.remarks = (widgets.HTML() for _ in range(4))
        self.view = widgets.VBox(
            [
                *(c.view for c in self._all()), self.answer, self.price_figure, self.price_table, self.hours_figure,
                self.hours_table, self.remarks,
            ]
        )  # fmt: skip

    def present_rates(self) -> Rates:
        """The shop's rates as the sliders have them."""
        rates = self.shop.rates
        people = Decimal(str(self.people.value)) / 100
        wood = Decimal(str(self.wood.value)) / 100
        return rates.with_(
            people={phase: amount * people for phase, amount in rates.people.items()},
            machine=replace(rates.machine, hours_per_year=self.hours_per_year.value),
            materials={k: (amount * wood, per) for k, (amount, per) in rates.materials.items()},
            margin=self.margin.value / 100,
        )

    def update(self) -> None:
        """Price the job anew and show it."""
        shop = replace(self.shop, rates=self.present_rates())
        quantity = round(self.quantity.value)
        if quantity not in self._estimates:  # money moves the price, only the quantity moves the hours
            self._estimates[quantity] = estimate(self._of(quantity), shop)
        self.estimate = self._estimates[quantity]
        self.price: Price = price(self.estimate, shop)
        self._show_price()
        self._show_hours()

    def _of(self, quantity: int) -> Job:
        """The job so many times; the clock's hours of phases are of the quantity that was made."""
        if quantity == self.job.quantity:
            return self.job
        phases = {k: p.model_copy(update={"logged": None}) for k, p in self.job.phases.items()}
        return replace(self.job, quantity=quantity, phases=phases)

    def _show_price(self) -> None:
        p, code = self.price, self.price.currency
        earned = p.earned_per_hour
        text = f"asked {p.asked:,.0f} {code}; floor {p.floor:,.0f} {code}"
        if earned is not None:
            text += f"; an hour of our own people then earns {earned:,.2f} {code}"
        self.answer.value = big(text)
        with self.price_figure.change() as f:
            f.data[0].x, f.data[0].y = [float(p.p50), float(p.p90)], [0, 0]
            f.data[1].x, f.data[1].y = [float(p.floor), float(p.asked)], [0, 0]
            f.data[1].text = ["floor", "asked"]
        *costs, margin = p.lines
        reach = f"half of such jobs cost less than {p.p50:,.0f}, nine in ten less than {p.p90:,.0f}"
        rows = [[line.name, f"{line.amount:,.2f}", line.how] for line in costs]
        rows.append(["floor price", f"{p.floor:,.2f}", f"all of the above; {reach}"])
        rows.append([margin.name, f"{margin.amount:,.2f}", margin.how])
        earns = "" if earned is None else f"each of our {self.estimate.own_hours:.1f} hours earns {earned:,.2f}"
        last = ["asked price", f"{p.asked:,.2f}", earns]
        self.price_table.value = table("Price, line by line", ["line", code, "working"], rows, last, words=(2,))

    def _show_hours(self) -> None:
        hours = self.estimate.hours
        with self.hours_figure.change() as f:
            for trace, which in zip(f.data, ("planned", "programmed", "logged"), strict=True):
                trace.x = [getattr(hours[phase], which) for phase in PHASES]
        rows = [
            [phase, *(_hours(getattr(hours[phase], w)) for w in ("planned", "programmed", "logged", "best", "quoted"))]
            for phase in PHASES
        ]
        last = ["together", "", "", "", _hours(self.estimate.own_hours), _hours(sum(h.quoted for h in hours.values()))]
        head = ["phase", "planned", "programmed", "logged", "best known", "quoted"]
        self.hours_table.value = table("Hours", head, rows, last)
        machine = self.estimate.machine_seconds / 3600
        remarks = [f"The machine runs {machine:.1f} h for the whole job, with nobody beside it for part of that time."]
        self.remarks.value = "".join(note(t) for t in (*remarks, *self.price.warnings))


def _hours(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f}"


def quote_job(shop: Shop, job: Job) -> QuoteControl:
    """The control over one job's price, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        The shop.
    job : Job
        From ``open_job``.
    """
    return QuoteControl(shop, job)
