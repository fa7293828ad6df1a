"""The tables that ship with the package: units, sources and standing of every value; the debt is printed."""

import csv
import re
from collections import Counter
from pathlib import Path

import pytest

from shopcalc.materials import GROUPS, read_materials
from shopcalc.sources import KINDS, TABLES, bibliography, cautions, practice
from shopcalc.units import QUANTITIES

ROWS = ["safety_limits"]
SHARED = Path(__file__).parents[1] / "shared"
MATERIALS = read_materials()
VALUES = [v for m in MATERIALS.values() for v in m.values.values()] + list(practice().values())


def raw(name):
    with (TABLES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def test_every_value_has_unit_source_and_kind():
    shown = {q.shown for q in QUANTITIES.values()}
    for v in VALUES:
        assert v.kind in KINDS
        assert v.unit in shown
        assert v.value > 0
        assert v.source in bibliography() or v.kind in ("practice", "memory"), v
        assert v.place or not v.source, f"where in {v.source}? {v}"


def test_the_debt_is_seen(record_property):
    """Values that nobody has read are counted and printed; remembered ones stay the lesser part."""
    counts = Counter(row["kind"] for name in ("material_values.csv", "practice.csv", "safety.csv") for row in raw(name))
    record_property("kinds", dict(counts))
    print("\nvalues by kind:", dict(counts.most_common()))
    assert set(counts) <= set(KINDS)
    read_here = counts["published"] + counts["second-hand"]
    assert read_here > 3 * (counts["memory"] + counts["practice"]) / 2


def test_nothing_in_the_published_tables_is_invented_or_measured():
    for name in ("material_values.csv", "practice.csv", "safety.csv"):
        assert not {"invented", "measured"} & {row["kind"] for row in raw(name)}


def test_every_source_is_used_and_whole():
    used = {row["source"] for name in ("material_values.csv", "practice.csv", "safety.csv") for row in raw(name)}
    used |= {v.source for v in VALUES}
    assert set(bibliography()) <= used
    for s in bibliography().values():
        assert s.author
        assert s.title
        assert s.where
        assert s.author in str(s)


def test_tables_name_no_material_twice_or_unknown():
    ids = [row["id"] for row in raw("materials.csv")]
    assert len(ids) == len(set(ids)) == len(MATERIALS) >= 30
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", i) for i in ids)


def test_chip_windows_are_windows():
    for group in GROUPS:
        thin, thick = practice()[f"chip_thin.{group}"], practice()[f"chip_thick.{group}"]
        assert 0 < thin.value < thick.value < 1
        assert thin.kind == thick.kind == "practice"


def test_safety_agrees_with_the_published_rows():
    """The same limits, told to the operator and kept for checking."""
    with (SHARED / "safety_limits.csv").open(encoding="utf-8") as file:
        rows = {row["id"]: row for row in csv.DictReader(file)}
    ours = {c.id: c for c in cautions()}
    assert set(ours) == set(rows)
    standing = {"published": "read", "second-hand": "second-hand", "memory": "memory"}
    for key, c in ours.items():
        row = rows[key]
        unit = row["unit"] if row["unit"] not in ("class", "rule") else ""
        assert c.value == f"{row['expected']} {unit}".strip(), key
        assert c.topic == row["topic"]
        assert standing[c.kind] == row["standing"], key


def test_every_wood_has_one_dust_class():
    for m in MATERIALS.values():
        classes = [c.value for c in cautions("wood dust", m.id) if c.item == "carcinogen class"]
        assert len(classes) == 1, m.id
    assert {c.value for c in cautions("wood dust", "laminated-white-oak") if c.item == "carcinogen class"} == {"A1"}


def test_cautions_name_only_materials_that_exist():
    assert {i for c in cautions() for i in c.applies_to} <= set(MATERIALS)


@pytest.mark.parametrize("topic", ["wood dust", "noise", "machines", "lockout", "cutters", "fire"])
def test_each_topic_has_its_cautions(topic):
    assert cautions(topic)
    assert all(c.topic == topic for c in cautions(topic))
