"""The log's tables, made by numbered steps; each step and the row that records it are one transaction.

A step that has shipped is never changed: what comes after is a new one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from shopcalc.errors import Fault, InputError
from shopcalc.shoplog.clock import now

#: Marks the file as a shop's log (its first bytes say so to every reader of SQLite files): "shpl".
APPLICATION = 0x7368706C


def _only_added_to(*tables: str) -> str:
    return "".join(
        f"CREATE TRIGGER {table}_never_{action} BEFORE {action.upper()} ON {table} "
        "BEGIN SELECT RAISE(ABORT, 'the log is only added to'); END;"
        for table in tables
        for action in ("update", "delete")
    )


_ENTRIES = """
CREATE TABLE entries (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  uid TEXT NOT NULL UNIQUE,
  kind TEXT NOT NULL,
  recorded INTEGER NOT NULL,          -- UTC, microseconds since 1970
  recorded_offset INTEGER NOT NULL,   -- minutes east of UTC
  operator TEXT NOT NULL,
  replaces INTEGER REFERENCES entries(id),
  undoes INTEGER UNIQUE REFERENCES entries(id),
  origin TEXT NOT NULL,               -- by hand, timer, or the file it was imported from
  note TEXT NOT NULL
) STRICT;
CREATE TABLE times (
  entry INTEGER PRIMARY KEY REFERENCES entries(id),
  job TEXT NOT NULL, program TEXT NOT NULL, part TEXT NOT NULL, load INTEGER, phase TEXT NOT NULL,
  cutter TEXT NOT NULL, machine TEXT NOT NULL, began INTEGER, utc_offset INTEGER,
  seconds REAL, loads INTEGER NOT NULL, standing REAL NOT NULL, done INTEGER NOT NULL, running REAL, boot TEXT NOT NULL,
  person TEXT NOT NULL                -- whose time; entries.operator is who made the entry
) STRICT;
CREATE INDEX replaced ON entries(replaces) WHERE replaces IS NOT NULL;
CREATE INDEX by_operator ON entries(operator, id);
""" + _only_added_to("entries", "times")
_CUTTERS = """
CREATE TABLE cutter_events (
  entry INTEGER PRIMARY KEY REFERENCES entries(id),
  cutter TEXT NOT NULL, what TEXT NOT NULL, distance REAL, seconds REAL, diameter REAL, reason TEXT NOT NULL
) STRICT;
CREATE TABLE observations (
  entry INTEGER PRIMARY KEY REFERENCES entries(id),
  what TEXT NOT NULL, job TEXT NOT NULL, program TEXT NOT NULL, part TEXT NOT NULL, cutter TEXT NOT NULL,
  machine TEXT NOT NULL, size_off REAL
) STRICT;
""" + _only_added_to("cutter_events", "observations")
_QUOTES = """
CREATE TABLE quotes (
  entry INTEGER PRIMARY KEY REFERENCES entries(id),
  job TEXT NOT NULL, outcome TEXT NOT NULL, reason TEXT NOT NULL, quote TEXT NOT NULL, paid TEXT,
  currency TEXT NOT NULL
) STRICT;
""" + _only_added_to("quotes")
_PEOPLE = """
CREATE TABLE operators (
  entry INTEGER PRIMARY KEY REFERENCES entries(id), name TEXT NOT NULL, active INTEGER NOT NULL
) STRICT;
CREATE TABLE sign_offs (
  entry INTEGER PRIMARY KEY REFERENCES entries(id),
  lesson TEXT NOT NULL, person TEXT NOT NULL, score REAL, date TEXT NOT NULL, signed_by TEXT NOT NULL
) STRICT;
""" + _only_added_to("operators", "sign_offs")
_IMPORTS = """
CREATE TABLE imports (
  uid TEXT PRIMARY KEY, file TEXT NOT NULL, rows INTEGER NOT NULL, recorded INTEGER NOT NULL
) STRICT;
""" + _only_added_to("imports")
_INDEXES = """
CREATE INDEX times_of_job ON times(job, program, part);
CREATE INDEX times_began ON times(began);
CREATE INDEX timers ON times(entry) WHERE seconds IS NULL;
CREATE INDEX events_of_cutter ON cutter_events(cutter);
CREATE INDEX quotes_of_job ON quotes(job);
"""
_LESSONS = """
ALTER TABLE sign_offs ADD COLUMN machine TEXT NOT NULL DEFAULT '';
CREATE TABLE answers (
  entry INTEGER PRIMARY KEY REFERENCES entries(id),
  person TEXT NOT NULL, lesson TEXT NOT NULL, exercise TEXT NOT NULL, seed INTEGER NOT NULL, correct INTEGER NOT NULL,
  hints INTEGER NOT NULL, mistakes TEXT NOT NULL
) STRICT;
CREATE INDEX answers_of_person ON answers(person, lesson);
""" + _only_added_to("answers")

#: Name and statements of each step, in order; the first is number 1.
STEPS: tuple[tuple[str, str], ...] = (
    ("entries and times", _ENTRIES), ("cutters and observations", _CUTTERS), ("quotes", _QUOTES),
    ("operators and sign-offs", _PEOPLE), ("imports", _IMPORTS), ("indexes", _INDEXES),
    ("sign-offs by machine, answers", _LESSONS),
)  # fmt: skip


def reached(database: sqlite3.Connection) -> int:
    """Number of the last step a file has gone; 0 for an empty file.

    Parameters
    ----------
    database : Connection
        Open.

    Raises
    ------
    InputError
        When it is some other file, or one a newer version wrote; it is not touched.
    """
    if not database.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        return 0
    # after the tables, never before: another process may be making them, and writes the two in one transaction
    if database.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        raise InputError(Fault("this is an SQLite file, but not a shop's log", "name a shop's folder with its own log"))
    number = int(database.execute("SELECT coalesce(max(number), 0) FROM migrations").fetchone()[0])
    if number > len(STEPS):
        message = f"a newer shopcalc wrote it (its format is {number}; this one knows up to {len(STEPS)})"
        raise InputError(Fault(message, "update shopcalc on this computer; the log was not touched"))
    return number


def migrate(database: sqlite3.Connection, steps: Sequence[tuple[str, str]] = STEPS) -> int:
    """Go the steps that are missing.

    Parameters
    ----------
    database : Connection
        Open for writing, in autocommit.
    steps : sequence
        Name and statements of each.

    Returns
    -------
    int
        How many were gone now; another process may have gone some of them.
    """
    gone = 0
    while reached(database) < len(steps):
        database.execute("BEGIN IMMEDIATE")
        try:
            number = reached(database) + 1
            if number <= len(steps):  # else somebody else was quicker
                name, statements = steps[number - 1]
                if number == 1:
                    database.execute(f"PRAGMA application_id = {APPLICATION}")
                    database.execute(
                        "CREATE TABLE migrations (number INTEGER PRIMARY KEY, name TEXT, applied INTEGER) STRICT"
                    )
                for statement in _split(statements):
                    database.execute(statement)
                database.execute("INSERT INTO migrations VALUES (?, ?, ?)", (number, name, now().utc))
                gone += 1
            database.execute("COMMIT")
        except BaseException:
            if database.in_transaction:
                database.execute("ROLLBACK")
            raise
    return gone


def _split(statements: str) -> list[str]:
    """Statements one by one: ``executescript`` would end the transaction."""
    out, begun = [], ""
    for piece in statements.split(";"):
        begun += piece + ";"
        if sqlite3.complete_statement(begun):
            out.append(begun)
            begun = ""
    return out
