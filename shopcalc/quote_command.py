"""The command ``quote``: hours and price of a job, and on request what helps to decide and to plan it."""

from __future__ import annotations

import argparse
import datetime
import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError, did_you_mean

if TYPE_CHECKING:
    import pandas as pd

    from shopcalc.documents import Table
    from shopcalc.loading import LoadPlan
    from shopcalc.quote import Price
    from shopcalc.shop import Shop

Write = Callable[[Path, Mapping[str, str | bytes]], None]
Show = Callable[[Any], None]
#: Tables and sentences for people, and the same as plain data.
Part = tuple[list[str], Any]

_SHOWS = ("decision", "loads", "order", "days", "wood", "fits", "quantities")


def add_flags(parser: argparse.ArgumentParser) -> None:
    """Give the command its flags.

    Parameters
    ----------
    parser : ArgumentParser
        Of the command; it has ``--shop``, ``--system`` and ``--json`` already.
    """
    parser.add_argument("job", metavar="JOB.toml")
    parser.add_argument(
        "--out", metavar="DIR", help="also write quote.txt, quote.html, hours.csv and drawings of frames there"
    )
    parser.add_argument(
        "--show",
        metavar="WHAT",
        action="append",
        default=[],
        help="also: decision (what the price turns on, other ways, where the next hour is), loads (minutes of each), "
        "order (of loads), days (who does what when), wood (boards, yield, weight), fits (what to measure), "
        "quantities (price of one against how many); several with commas",
    )
    parser.add_argument(
        "--offer",
        metavar="PART=MONEY",
        action="append",
        default=[],
        help="hold a seller's price for one of a part, or of a whole frame, against making it",
    )
    parser.add_argument(
        "--quantities", metavar="N,N", help="for the price of one against how many; default 1,2,5,12,30"
    )
    parser.add_argument("--start", metavar="YYYY-MM-DD", help="first day of work, for days with dates")
    parser.add_argument(
        "--standard-times", action="store_true", help="without what the shop's finished jobs taught of its times"
    )
    parser.add_argument("--against", metavar="QUOTE.json", help="what changed since an earlier quote --json")


def run(chosen: argparse.Namespace, shop: Shop, write: Write, show: Show) -> int:
    """Price a job.

    Parameters
    ----------
    chosen : Namespace
        From the parser.
    shop : Shop
        Whose rates count.
    write : callable
        Of a folder and contents by name: writes all of them or none.
    show : callable
        Of a JSON document: prints it.

    Returns
    -------
    int
        0
    """
    from shopcalc.jobs import estimate, open_job
    from shopcalc.logged import job_with_log
    from shopcalc.quote import as_html, as_text, hours_csv, price

    shows = list(dict.fromkeys(_shows(chosen)))
    offers = [_offer(text, shop) for text in chosen.offer]
    before = None if chosen.against is None else _earlier(chosen.against)
    job = job_with_log(open_job(chosen.job, shop), learned=not chosen.standard_times)
    shop = job.shop
    priced = price(estimate(job), system=chosen.system)
    parts = {name: _FACES[name](priced, shop, chosen) for name in shows if name != "decision"}
    if "decision" in shows or offers:
        parts["decision"] = _decision(priced, shop, offers, whole="decision" in shows)
    if before is not None:
        parts["against"] = _against(before, priced, chosen.against)
    if chosen.out is not None:
        texts = [as_text(priced), *("\n" + "\n".join(lines) + "\n" for lines, _ in parts.values())]
        files = {"quote.txt": "".join(texts), "quote.html": as_html(priced), "hours.csv": hours_csv(priced)}
        write(Path(chosen.out), files | _drawings(priced, shop, wood="wood" in shows))
    if chosen.json:
        shown = {name: data for name, (_, data) in parts.items()}
        show(priced.as_json() | ({"shown": shown} if shown else {}))
        return 0
    print(as_text(priced), end="")
    for lines, _ in parts.values():
        print("\n" + "\n".join(line.rstrip() for line in lines))
    return 0


def _drawings(priced: Price, shop: Shop, *, wood: bool) -> dict[str, str]:
    """Each frame with its sizes, its tables to edit by hand, and where each piece lies on the boards, by file name."""
    from shopcalc.frames import as_job_text
    from shopcalc.frames.drawing import svg
    from shopcalc.sheets.writing import stem

    job, out = priced.estimate.job, dict[str, str]()
    if job.expansion is not None:
        out = {f"frame-{stem(x.frame.id)}.svg": svg(x, priced.system) for x in job.expansion.layouts}
        out["frames-as-parts.toml"] = as_job_text(job.expansion)
    if wood:
        from shopcalc.jobs.wood import take_off_job

        found = take_off_job(job, shop, layout=True).diagrams(priced.system)
        out |= {f"wood-{stem(name)}.svg": picture for name, picture in found.items()}
    return out


def _shows(chosen: argparse.Namespace) -> Iterator[str]:
    for word in (w.strip() for text in chosen.show for w in text.split(",")):
        if word not in _SHOWS:
            raise InputError(Fault(f"--show: there is no '{word}'", did_you_mean(word, _SHOWS)))
        yield word
    if chosen.quantities is not None:
        yield "quantities"
    if chosen.start is not None:
        yield "days"


def _offer(text: str, shop: Shop) -> tuple[str, Any]:
    from shopcalc.units import read_money

    part, found, money = text.partition("=")
    if not found or not part.strip():
        raise InputError(Fault(f"--offer: '{text}' is not a part and its price", 'write e.g. "panel=120 USD"'))
    return part.strip(), read_money(money.strip(), shop.rates.currency)


def _earlier(path: str) -> Mapping[str, Any]:
    remedy = "give what shopcalc quote --json printed"
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as e:
        raise InputError(Fault(f"cannot be read ({(e.strerror or str(e)).lower()})", remedy, file=path)) from None
    except ValueError:
        raise InputError(Fault("this is not JSON", remedy, file=path)) from None
    wanted = {"currency", "price", "hours", "hours_total", "lines", "machine_minutes", "earned_per_hour"}
    if not isinstance(found, dict) or not wanted <= set(found):
        raise InputError(Fault("this is not a quote", remedy, file=path))
    return found


# --- what may be shown -----------------------------------------------------------------------------------------------


def _decision(priced: Price, shop: Shop, offers: list[tuple[str, Any]], *, whole: bool) -> Part:
    from shopcalc import deciding

    card = deciding.decide(priced, shop)
    found = [deciding.make_or_buy(priced, part, each, shop) for part, each in offers]
    if not whole:
        tables = [t for t in deciding.tables(card, offers=found) if t.title == "Make or buy"]
        return _lines(tables), {"offers": deciding.as_json(card, offers=found)["offers"]}
    ways, savings = deciding.ways(priced, shop), deciding.next_hours(priced, shop)
    lines = _lines(deciding.tables(card, ways, savings, found))
    return lines, deciding.as_json(card, ways, savings, found)


def _against(before: Mapping[str, Any], priced: Price, path: str) -> Part:
    from shopcalc.deciding import differences
    from shopcalc.documents import Table
    from shopcalc.documents.text import clean

    try:
        found = differences(before, priced.as_json())
    except (ValueError, KeyError, TypeError, AttributeError) as e:
        raise InputError(Fault(f"cannot be compared ({e})", "give a quote of the same shop", file=path)) from None

    def number(value: float | None) -> str:
        return "–" if value is None else f"{value:,.2f}"

    rows = tuple((d.what, number(d.before), number(d.after), f"{d.change:+,.2f}", d.unit) for d in found)
    same: tuple[str, ...] = () if rows else ("Nothing changed.",)
    name, now = clean(str(before.get("job", ""))), clean(priced.estimate.job.name)
    same += (f"Look: that quote is of '{name}', this one of '{now}'.",) if name and name != now else ()
    table = Table(f"What changed since {path}", ("", "before", "now", "change", ""), rows, frozenset({1, 2, 3}), same)
    data = [{"what": d.what, "before": d.before, "after": d.after, "unit": d.unit} for d in found]
    return _lines([table]), data


def _loads(priced: Price, shop: Shop, chosen: argparse.Namespace) -> Part:
    from shopcalc.documents import Table
    from shopcalc.jobs.by_load import load_minutes

    frame = load_minutes(priced.estimate, shop)
    kinds = frame.groupby(["program", "part"], sort=False)
    rows = [
        (
            str(program),
            str(part),
            str(len(g)),
            *(f"{g[k].sum():.1f}" for k in ("programming", "setup", "machine", "attended")),
            f"{g['setup'].iloc[-1]:.1f} + {g['machine'].iloc[-1]:.1f}" if len(g) > 1 else "–",
        )
        for (program, part), g in kinds
    ]
    total = tuple(f"{frame[k].sum():.1f}" for k in ("programming", "setup", "machine", "attended"))
    rows += [(), ("together", "", str(len(frame)), *total, "")]
    head = (
        "program",
        "part",
        "loads",
        "programming",
        "set-up",
        "machine",
        "attended",
        "a later load: set-up + machine",
    )
    table = Table("Minutes by program and load", head, tuple(rows), frozenset(range(2, 7)))
    return _lines([table]), _data(frame)


def _order(priced: Price, shop: Shop, chosen: argparse.Namespace) -> Part:
    from shopcalc.documents import Table

    plan = _planned(priced)
    rows = tuple(
        (
            str(i),
            step.batch.name,
            step.batch.station,
            str(step.batch.loads),
            ", ".join(step.rack.put_in) or "–",
            f"{step.before / 60:.1f}",
            step.why,
        )
        for i, step in enumerate(plan.steps, 1)
    )
    head = ("", "program/part", "station", "loads", "into the rack", "min", "why here")
    below = tuple(t[:1].upper() + t[1:] + "." for t in plan.summary())
    return _lines([Table("Order of loads", head, rows, frozenset({0, 3, 5}), below)]), plan.to_dict()


def _planned(priced: Price) -> LoadPlan:
    """The order of loads: the one the job says, else the one with the least time between them, as on its papers."""
    from shopcalc.loading import plan_loads, work

    job = priced.estimate.job
    return plan_loads(work(job, job.shop, estimate=priced.estimate))


def _days(priced: Price, shop: Shop, chosen: argparse.Namespace) -> Part:
    from shopcalc.documents import Table
    from shopcalc.jobs.tasks import schedule_job

    order = _planned(priced).order if priced.estimate.job.loads else ()
    plan = schedule_job(priced.estimate, shop, start=_day(chosen.start), order=order)
    frame = plan.by_day()
    rows = []
    for day, g in frame.groupby("day", sort=False):
        when = str(g["date"].iloc[0]) if "date" in g else f"day {day}"
        for who, own in g.groupby("who", sort=False):
            done = "; ".join(f"{r['from']}–{r['to']} {r['task']}" for _, r in own.iterrows())
            rows.append((when, str(who), f"{own['hours'].sum():.1f}", done))
            when = ""
    ends = f", the last on {plan.last_date}" if plan.last_date else ""
    below = (
        f"{plan.working_days} working days{ends}; none can take less than {plan.shortest:.1f} working hours "
        f"({plan.binds}), this one takes {plan.finish:.1f}.",
        f"Hand work done while the machine runs alone: {plan.beside_machine:.1f} h.",
        "Runs at the machine stand in the order of loads, as on the traveller; the bound is for that order.",
        "As if this job were alone in the shop; drying passes without work, so a day may be short or empty.",
    )
    table = Table("Who does what when", ("day", "who", "h", "what"), tuple(rows), frozenset({2}), below)
    facts = {
        "working_days": plan.working_days,
        "last_date": None if plan.last_date is None else plan.last_date.isoformat(),
        "finish_working_h": plan.finish,
        "shortest_working_h": plan.shortest,
        "binds": plan.binds,
        "beside_machine_h": plan.beside_machine,
        "by_day": _data(frame),
    }
    return _lines([table]), facts


def _day(text: str | None) -> datetime.date | None:
    try:
        return None if text is None else datetime.date.fromisoformat(text)
    except ValueError:
        raise InputError(Fault(f"--start: '{text}' is not a day", "write year-month-day, e.g. 2027-01-11")) from None


def _wood(priced: Price, shop: Shop, chosen: argparse.Namespace) -> Part:
    from shopcalc.jobs.wood import take_off_job

    job = priced.estimate.job
    taken = take_off_job(job, shop, layout=True)
    priced_so = shop.rates.stock.layout if job.stock.layout is None else job.stock.layout
    way = "as priced" if priced_so else "the price goes by the shop's waste: layout = true under [stock] prices this"
    lines = [
        f"Wood laid out on boards ({way}), glue, finish, weight",
        *(f"  {s}" for s in taken.sentences(priced.system)),
    ]
    return _wrapped(lines), {"bought": _data(taken.bought_frame()), "weights": _data(taken.weight_frame())}


def _fits(priced: Price, shop: Shop, chosen: argparse.Namespace) -> Part:
    from shopcalc.fit_table import fit_rows, season_warnings

    job, lines, data = priced.estimate.job, ["What to measure at the bench"], []
    for r in fit_rows(job):
        nominal, low, high = (r.shown(v, priced.system) for v in (r.nominal, r.low, r.high))
        lines.append(f"  {r.part}: {r.what}, {r.measure_with}: {nominal} ({low} to {high})")
        lines += [f"      {t}" for t in (r.outside and f"outside that: {r.outside}", r.note) if t]
        data.append(
            {
                "part": r.part, "what": r.what, "measure_with": r.measure_with, "nominal_mm": r.nominal,
                "low_mm": r.low, "high_mm": r.high, "outside": r.outside, "note": r.note,
            }
        )  # fmt: skip
    told = season_warnings(job)
    lines += ["", *(f"  * {t}" for t in told)] if told else []
    return _wrapped(lines), {"rows": data, "warnings": list(told)}


def _quantities(priced: Price, shop: Shop, chosen: argparse.Namespace) -> Part:
    from shopcalc.documents import Table
    from shopcalc.quote.batches import by_quantity
    from shopcalc.units import read_count

    asked = [read_count(t, minimum=1) for t in (chosen.quantities or "1,2,5,12,30").split(",")]
    frame = by_quantity(priced.estimate.job, asked, shop=shop)
    rows = tuple(
        (
            str(n),
            f"{r['hours_each']:.1f}",
            f"{60 * r['machine_hours_each']:.0f}",
            f"{r['floor_each']:,.0f}",
            f"{r['asked_each']:,.0f}",
            f"{r['asked']:,.0f}",
        )
        for n, r in frame.iterrows()
    )
    head = ("pieces", "our h each", "machine min each", "floor each", "asked each", "asked for all")
    below = (
        "Programs, drawings and set-up are paid once; hand work is learned.",
        "An asked price said in the job is left out.",
    )
    return _lines([Table("Price of one against how many", head, rows, frozenset(range(6)), below)]), _data(
        frame.reset_index()
    )


_FACES: dict[str, Callable[[Price, Shop, argparse.Namespace], Part]] = {
    "loads": _loads,
    "order": _order,
    "days": _days,
    "wood": _wood,
    "fits": _fits,
    "quantities": _quantities,
}


def _lines(tables: Any) -> list[str]:
    from shopcalc.documents.plain import as_lines

    found: list[Table] = list(tables)
    out = [line for t in found for line in (*as_lines(t), "")]
    return out[:-1]


def _wrapped(lines: list[str]) -> list[str]:
    import textwrap

    def wrapped(line: str) -> list[str]:
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        return textwrap.wrap(line, 118, subsequent_indent=indent) or [""]

    return [t for line in lines for t in wrapped(line)]


def _data(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain data; what is unknown is null."""
    return json.loads(frame.to_json(orient="records", date_format="iso"))  # type: ignore[no-any-return]
