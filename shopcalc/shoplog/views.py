"""What the log says, as tables: units stand in the names of the columns and in ``attrs``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from shopcalc.shoplog.records import job_key
from shopcalc.shoplog.store import ShopLog

if TYPE_CHECKING:
    import pandas as pd

_UNITS = {
    "seconds": "s", "standing": "s", "hours": "h", "mean": "s", "median": "s", "least": "s", "most": "s",
    "distance": "mm", "diameter": "mm", "minutes": "min", "utc_offset": "min", "size_off": "mm",
}  # fmt: skip
#: Only those that count, cheaply for many: numbers of what is undone or replaced are gathered once.
COUNTS = (
    "e.undoes IS NULL AND e.id NOT IN (SELECT undoes FROM entries WHERE undoes IS NOT NULL) AND e.id NOT IN "
    "(SELECT replaces FROM entries WHERE replaces IS NOT NULL AND id NOT IN "
    "(SELECT undoes FROM entries WHERE undoes IS NOT NULL))"
)
#: Of ``times t``: the machine ran a program.
IS_RUN = "t.program <> '' AND t.phase IN ('', 'machining')"
#: Local day of a time, counted from 1970, of ``times t`` and ``entries e``.
LOCAL_DAY = (
    "((CASE WHEN t.began IS NULL THEN e.recorded + 60000000 * e.recorded_offset ELSE t.began + 60000000 * "
    "coalesce(t.utc_offset, 0) END) / 86400000000)"
)
_TIMES = (
    "entry", "person", "job", "program", "part", "load", "phase", "cutter", "machine", "began", "utc_offset",
    "seconds", "loads", "standing", "done", "note",
)  # fmt: skip


def _frame(log: ShopLog, columns: Sequence[str], question: str, values: Sequence[Any] = ()) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame(log.rows(question, values), columns=list(columns))
    frame.attrs["units"] = {c: _UNITS[c] for c in columns if c in _UNITS}
    return frame


def _of_job(job: str | None) -> tuple[str, tuple[str, ...]]:
    return ("", ()) if job is None else (" AND t.job = ?", (job_key(job),))


def times(log: ShopLog, job: str | None = None) -> pd.DataFrame:
    """Every time that counts, timers that run left out.

    Parameters
    ----------
    log : ShopLog
        Open.
    job : str or None
        Name or key of one job.

    Returns
    -------
    DataFrame
        One row each: ``began`` in UTC, ``seconds``, ``standing`` [s]; ``overlaps`` where the same person was at two
        things at once.
    """
    import pandas as pd

    where, values = _of_job(job)
    names = ", ".join(f"e.{c}" if c == "note" else f"t.{c}" for c in _TIMES)
    frame = _frame(
        log,
        _TIMES,
        f"SELECT {names} FROM times t JOIN entries e ON e.id = t.entry WHERE t.seconds IS NOT NULL AND "
        f"{COUNTS}{where} ORDER BY t.entry",
        values,
    )
    frame["overlaps"] = _overlapping(frame)
    frame["began"] = pd.to_datetime(frame["began"], unit="us", utc=True)
    frame["done"] = frame["done"].astype(bool)
    frame["load"] = frame["load"].astype("Int64")
    return frame


def _overlapping(frame: pd.DataFrame) -> Any:
    """Where somebody's time begins before an earlier one of theirs ended, or goes on after a later one began."""
    import numpy as np

    out = np.zeros(len(frame), bool)
    has = frame["began"].notna().to_numpy() & (frame["seconds"].to_numpy(float) > 0)
    rows = np.flatnonzero(has)
    if not len(rows):
        return out
    begin = frame["began"].to_numpy(float)[rows]
    end = begin + 1e6 * frame["seconds"].to_numpy(float)[rows]
    who = frame["person"].astype("category").cat.codes.to_numpy()[rows]
    order = np.lexsort((begin, who))
    begin, end, who, rows = begin[order], end[order], who[order], rows[order]
    shift = who * (float(end.max()) - float(begin.min()) + 1e6)  # one line of time, a stretch for each person
    begin, latest = begin + shift, np.maximum.accumulate(end + shift)
    late = np.r_[False, begin[1:] < latest[:-1] - 1e3]  # a millisecond is no overlap
    early = end + shift > np.r_[begin[1:], np.inf] + 1e3
    out[rows] = late | early
    return out


def by_program(log: ShopLog, job: str | None = None) -> pd.DataFrame:
    """Machine time of one load of each program.

    Parameters
    ----------
    log : ShopLog
        Open.
    job : str or None
        Name or key of one job.

    Returns
    -------
    DataFrame
        By job, program and part: ``loads`` logged, ``median``, ``mean``, ``least`` and ``most`` of one load, without
        the time the machine stood [s].
    """
    import pandas as pd

    where, values = _of_job(job)
    columns = ("job", "program", "part", "load", "entry", "net", "loads")
    frame = _frame(
        log,
        columns,
        "SELECT t.job, t.program, t.part, t.load, t.entry, t.seconds - t.standing, t.loads FROM times t JOIN entries e "
        "ON e.id = t.entry WHERE t.seconds IS NOT NULL AND "
        f"{IS_RUN} AND {COUNTS}{where}",
        values,
    )
    keys = ["job", "program", "part"]
    frame["load"] = frame["load"].astype(float).fillna(-frame["entry"])  # what has no number is a load of its own
    whole = frame.groupby([*keys, "load"], observed=True).agg(net=("net", "sum"), loads=("loads", "max")).reset_index()
    whole["each"] = whole["net"] / whole["loads"]
    again = whole.loc[whole.index.repeat(whole["loads"])]
    grouped = again.groupby(keys)["each"]
    out = pd.DataFrame(
        {
            "loads": grouped.size(), "median": grouped.median(), "mean": grouped.mean(), "least": grouped.min(),
            "most": grouped.max(),
        }
    )  # fmt: skip
    out = out.reset_index()
    out.attrs["units"] = {c: _UNITS[c] for c in out if c in _UNITS}
    return out


def by_phase(log: ShopLog, job: str | None = None) -> pd.DataFrame:
    """Hours of each phase.

    Parameters
    ----------
    log : ShopLog
        Open.
    job : str or None
        Name or key of one job.

    Returns
    -------
    DataFrame
        By job and phase: ``hours`` [h], ``entries``, and whether the phase is ``done``.
    """
    where, values = _of_job(job)
    return _frame(
        log,
        ("job", "phase", "hours", "entries", "done"),
        "SELECT t.job, CASE WHEN t.phase = '' AND t.program <> '' THEN 'machining' ELSE t.phase END AS p, "
        "sum(t.seconds) / 3600, count(*), max(t.done) FROM times t JOIN entries e ON e.id = t.entry "
        f"WHERE t.seconds IS NOT NULL AND {COUNTS}{where} GROUP BY t.job, p ORDER BY t.job, p",
        values,
    ).astype({"done": bool})


def by_operator(log: ShopLog, job: str | None = None) -> pd.DataFrame:
    """Hours of each person.

    Parameters
    ----------
    log : ShopLog
        Open.
    job : str or None
        Name or key of one job.

    Returns
    -------
    DataFrame
        By person and phase: ``hours`` [h] and ``entries``.
    """
    where, values = _of_job(job)
    return _frame(
        log,
        ("person", "phase", "hours", "entries"),
        "SELECT t.person, CASE WHEN t.phase = '' AND t.program <> '' THEN 'machining' ELSE t.phase END AS p, "
        "sum(t.seconds) / 3600, count(*) FROM times t JOIN entries e ON e.id = t.entry "
        f"WHERE t.seconds IS NOT NULL AND {COUNTS}{where} GROUP BY t.person, p ORDER BY t.person, p",
        values,
    )


def open_timers(log: ShopLog) -> pd.DataFrame:
    """Timers that run.

    Parameters
    ----------
    log : ShopLog
        Open.

    Returns
    -------
    DataFrame
        One row each, the oldest first; ``began`` in UTC.
    """
    import pandas as pd

    names = ("entry", "person", "job", "program", "part", "load", "phase", "machine", "began", "utc_offset")
    columns = ", ".join(f"t.{c}" for c in names)
    frame = _frame(
        log,
        names,
        f"SELECT {columns} FROM times t JOIN entries e ON e.id = t.entry WHERE t.seconds IS NULL AND {COUNTS} "
        "ORDER BY t.entry",
    )
    frame["began"] = pd.to_datetime(frame["began"], unit="us", utc=True)
    return frame


def cutter_life(log: ShopLog) -> pd.DataFrame:
    """What each cutter has cut since it was new and since it was last ground.

    Parameters
    ----------
    log : ShopLog
        Open.

    Returns
    -------
    DataFrame
        By cutter and edge (0 is the edge it was bought with): ``distance`` [mm], ``minutes`` by the cutter's own
        entries, or from times that name it where it has none [min]; ``diameter`` last measured [mm]; ``retired`` with
        the reason.
    """
    import pandas as pd

    events = log.rows(
        "SELECT c.entry, c.cutter, c.what, c.distance, c.seconds, c.diameter, c.reason FROM cutter_events c "
        f"JOIN entries e ON e.id = c.entry WHERE {COUNTS} "
        "UNION ALL SELECT t.entry, t.cutter, 'timed', NULL, t.seconds - t.standing, NULL, '' FROM times t "
        f"JOIN entries e ON e.id = t.entry WHERE t.cutter <> '' AND t.seconds IS NOT NULL AND {COUNTS}",
    )
    columns = ["entry", "cutter", "what", "distance", "seconds", "diameter", "reason"]
    frame = pd.DataFrame(events, columns=columns).sort_values(["cutter", "entry"], kind="stable")
    frame["edge"] = (frame["what"] == "reground").groupby(frame["cutter"]).cumsum().astype(int)
    frame["own"] = frame["seconds"].where(frame["what"] == "cut").astype(float)
    frame["timed"] = frame["seconds"].where(frame["what"] == "timed").astype(float)
    frame["reason"] = frame["reason"].where(frame["what"] == "retired")
    frame = frame.astype({"distance": float, "diameter": float})
    grouped = frame.groupby(["cutter", "edge"], sort=True)
    own, timed = grouped["own"].sum(min_count=1), grouped["timed"].sum(min_count=1)
    out = pd.DataFrame(
        {
            "distance": grouped["distance"].sum(min_count=1), "minutes": own.fillna(timed) / 60,
            "diameter": grouped["diameter"].last(), "retired": grouped["reason"].last(),
        }
    )  # fmt: skip
    out = out.reset_index()
    out.attrs["units"] = {c: _UNITS[c] for c in out if c in _UNITS}
    return out


def observations(log: ShopLog) -> pd.DataFrame:
    """What was seen and heard.

    Parameters
    ----------
    log : ShopLog
        Open.

    Returns
    -------
    DataFrame
        One row each; ``recorded`` in UTC, ``size_off`` [mm].
    """
    import pandas as pd

    names = ("what", "job", "program", "part", "cutter", "machine", "size_off")
    frame = _frame(
        log,
        ("entry", "recorded", "operator", *names, "note"),
        f"SELECT e.id, e.recorded, e.operator, {', '.join(f'o.{n}' for n in names)}, e.note FROM observations o "
        f"JOIN entries e ON e.id = o.entry WHERE {COUNTS} ORDER BY e.id",
    )
    frame["recorded"] = pd.to_datetime(frame["recorded"], unit="us", utc=True)
    return frame


def quotes(log: ShopLog, *, latest: bool = False) -> pd.DataFrame:
    """Quotes, what was asked and what became of them.

    Parameters
    ----------
    log : ShopLog
        Open.
    latest : bool
        Only the last one of each job.

    Returns
    -------
    DataFrame
        One row each; ``asked``, ``floor`` and ``paid`` in ``currency``, ``hours`` of the shop's own people [h], the
        machine's ``minutes`` [min]. What was asked where it was won or lost is what a market price is read from.
    """
    import pandas as pd

    only = ""
    if latest:
        only = (
            " AND e.id IN (SELECT max(e.id) FROM quotes q JOIN entries e ON e.id = q.entry "
            f"WHERE {COUNTS} GROUP BY q.job)"
        )
    values = "json_extract(q.quote, '$.price.asked'), json_extract(q.quote, '$.price.floor'), " \
        "json_extract(q.quote, '$.hours_total'), json_extract(q.quote, '$.machine_minutes')"  # fmt: skip
    frame = _frame(
        log,
        ("entry", "recorded", "operator", "job", "outcome", "reason", "asked", "floor", "hours", "minutes", "paid",
         "currency"),
        f"SELECT e.id, e.recorded, e.operator, q.job, q.outcome, q.reason, {values}, CAST(q.paid AS REAL), q.currency "
        "FROM (SELECT entry, job, outcome, reason, CASE WHEN quote <> '' THEN quote END AS quote, paid, currency "
        f"FROM quotes) q JOIN entries e ON e.id = q.entry WHERE {COUNTS}{only} ORDER BY e.id",
    )  # fmt: skip
    frame["recorded"] = pd.to_datetime(frame["recorded"], unit="us", utc=True)
    for name in ("asked", "floor", "hours", "minutes", "paid"):
        frame[name] = frame[name].astype(float)
    return frame
