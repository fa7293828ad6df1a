"""Every published row is used by a test, or it is said why not yet."""

import ast
import csv
import re
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SHARED = ROOT / "shared"
TABLES = {p.stem: p for p in sorted(SHARED.glob("*.csv")) if p.stem != "not_yet_used"}
HEADER = ["id", "topic", "inputs", "quantity", "expected", "unit", "tolerance", "standing", "source"]
STANDINGS = {"read", "second-hand", "derived", "run here", "memory"}


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


IDS = {row["id"]: table for table, path in TABLES.items() for row in rows_of(path)}


def claims():
    """What each test file says it checks, from its module-level ROWS."""
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "ROWS" for t in node.targets):
                for claim in ast.literal_eval(node.value):
                    yield path.name, claim


def meant_by(claim):
    """Ids that a claim stands for: itself, its lettered parts, or a whole table."""
    return {
        i for i, table in IDS.items() if i == claim or table == claim or re.fullmatch(re.escape(claim) + "[a-z]", i)
    }


CLAIMED = {i: file for file, claim in claims() for i in meant_by(claim)}
EXCUSED = {i for row in rows_of(SHARED / "not_yet_used.csv") for i in meant_by(row["id"])}


def test_every_claim_means_a_row():
    lost = [(file, claim) for file, claim in claims() if not meant_by(claim)]
    assert not lost, f"claimed, but in no table of shared/: {lost}"


def test_every_row_is_claimed_or_excused():
    forgotten = sorted(set(IDS) - set(CLAIMED) - EXCUSED)
    assert not forgotten, f"claim these in a ROWS list or say in shared/not_yet_used.csv why not: {forgotten}"


def test_no_row_is_both_claimed_and_excused():
    both = {i: CLAIMED[i] for i in sorted(set(CLAIMED) & EXCUSED)}
    assert not both, f"remove these from shared/not_yet_used.csv, a test claims them: {both}"


def test_every_excuse_means_a_row_and_has_a_reason():
    for row in rows_of(SHARED / "not_yet_used.csv"):
        assert meant_by(row["id"]), f"{row['id']} is in no table"
        assert len(row["reason"]) > 10, row


def test_the_claims_are_really_looked_for():
    """Guards the guard: the lists of the neighbouring files are found."""
    assert {"test_wood_handbook.py", "test_motion_oracles.py"} <= set(CLAIMED.values())


@pytest.mark.parametrize("table", [t for t in TABLES if t != "motion_oracles"])
def test_rows_are_whole(table):
    rows = rows_of(TABLES[table])
    assert list(rows[0]) == HEADER
    assert not [i for i, n in Counter(r["id"] for r in rows).items() if n > 1]
    for row in rows:
        assert None not in row.values(), row
        assert None not in row, f"too many cells: {row}"
        assert row["standing"] in STANDINGS, row
        assert all(row[k] for k in ("topic", "quantity", "unit", "source")), row


@pytest.mark.parametrize("table", [t for t in TABLES if t not in ("motion_oracles", "safety_limits")])
def test_numbers_are_numbers(table):
    """One number a row; only trends and forms have none, and they cannot have a tolerance."""
    for row in rows_of(TABLES[table]):
        if row["unit"] in ("trend", "form"):
            assert row["expected"] == row["tolerance"] == "", row
        else:
            float(row["expected"])
            assert row["tolerance"] == "" or float(row["tolerance"]) >= 0, row


def test_no_test_rests_on_memory_alone():
    """A remembered row may be claimed only where the same file claims something that was read or derived."""
    standing = {row["id"]: row["standing"] for path in TABLES.values() for row in rows_of(path) if "standing" in row}
    for file in set(CLAIMED.values()):
        kinds = {standing.get(i, "run here") for i, f in CLAIMED.items() if f == file}
        assert kinds != {"memory"}, file
