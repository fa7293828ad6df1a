"""Sources: the bibliography, and what is published or customary, each value with where it comes from and how sure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.reading import Column, FieldReader, Row, TableReader
from shopcalc.reading import load_toml as load_toml
from shopcalc.units import QUANTITIES, read

if TYPE_CHECKING:
    import pandas as pd

TABLES = Path(__file__).with_name("tables")

#: How sure a value is.
KINDS: dict[str, str] = {
    "published": "read in the source itself",
    "second-hand": "read in a transcription or quotation of the source",
    "derived": "computed from an identity or from values of this table",
    "measured": "measured in this shop",
    "maker": "from the maker's data sheet or mark",
    "practice": "common practice, no source",
    "memory": "from memory, not read",
    "invented": "made up for the demo",
}


@dataclass(frozen=True)
class Source:
    """One entry of the bibliography.

    Parameters
    ----------
    key : str
        What tables cite.
    author, title : str
        As on the title page.
    edition : str
        Edition, report number or journal volume.
    year : int
        0 where there is none.
    where : str
        Where to read it.
    """

    key: str
    author: str
    title: str
    edition: str = ""
    year: int = 0
    where: str = ""

    def __str__(self) -> str:
        """Author, title, edition, year."""
        return ", ".join(p for p in (self.author, self.title, self.edition, str(self.year or "")) if p)


@dataclass(frozen=True)
class Value:
    """One value of a table with where it comes from.

    Parameters
    ----------
    value : float
        In the house unit.
    unit : str
        House unit, as people read it.
    source, place : str
        Key of the bibliography, and table, equation or page there.
    kind : str
        One of ``KINDS``.
    note : str
        What a reader should know besides.
    """

    value: float
    unit: str
    source: str
    place: str
    kind: str
    note: str = ""

    @property
    def cited(self) -> str:
        """Source, place and kind in one line, for a tooltip or a footnote."""
        known = bibliography().get(self.source)
        words = [str(known or self.source), self.place, KINDS.get(self.kind, self.kind)]
        return "; ".join(w for w in words if w)


@dataclass(frozen=True)
class Caution:
    """One limit or rule of safe work.

    Parameters
    ----------
    id, topic, item : str
        Key, subject ("wood dust", "noise", "machines", "lockout", "cutters", "fire"), and what is limited.
    applies_to : tuple of str
        Material ids; empty when it holds for every material.
    value : str
        The limit with its unit, the class, or "rule".
    basis : str
        Over what time, or under which condition.
    source, place, kind : str
        As in ``Value``.
    """

    id: str
    topic: str
    item: str
    applies_to: tuple[str, ...]
    value: str
    basis: str
    source: str
    place: str
    kind: str


#: Columns that say where the values of a row come from.
STANDING = (Column("source"), Column("place"), Column("kind", choices=tuple(KINDS)), Column("note"))


def check_standing(table: TableReader, row: Row, published: bool) -> None:
    """Note what is missing in a row's source and kind.

    Parameters
    ----------
    table : TableReader
        Collects the faults.
    row : Row
        With the columns of ``STANDING``.
    published : bool
        Whether the source must stand in the bibliography; a shop's own table may say it in its own words.
    """
    if row["kind"] is None and table.sound(row, "kind"):
        table.fault(row.number, "kind", "it is not said how sure the value is", "write one of: " + ", ".join(KINDS))
    needs = row["kind"] in ("published", "second-hand", "derived", "measured", "maker")
    if row["source"] is None and needs:
        table.fault(row.number, "source", f"a {row['kind']} value needs a source", "name it, or use another kind")
    elif published and row["source"] and row["source"] not in bibliography():
        remedy = did_you_mean(row["source"], bibliography())
        table.fault(row.number, "source", f"'{row['source']}' is not in the bibliography", remedy)


def read_values(
    path: Path | str, fields: Mapping[str, str], key: str, known: Iterable[str], *, published: bool = True
) -> dict[str, dict[str, Value]]:
    """Read a table with one value a row: KEY, field, value, unit, source, place, kind, note.

    Parameters
    ----------
    path : Path or str
        The CSV file.
    fields : mapping
        Every field to the key of ``units.QUANTITIES`` it is measured in.
    key : str
        Header of the first column, e.g. "material".
    known : iterable of str
        What may stand in it.
    published : bool
        Whether sources must stand in the bibliography.

    Returns
    -------
    dict
        Key to field to Value; a blank value is unknown and left out.

    Raises
    ------
    InputError
        With every fault.
    """
    columns = (
        Column(key, required=True, choices=tuple(known)),
        Column("field", required=True, choices=tuple(fields)),
        Column("value"),
        Column("unit", required=True),
        *STANDING,
    )
    table = TableReader(path, columns, f"{key} field")
    out: dict[str, dict[str, Value]] = {}
    for row in table.rows:
        if row["value"] is None or not table.sound(row, key, "field", "unit") or row["field"] is None:
            continue
        check_standing(table, row, published)
        quantity = fields[row["field"]]
        value = _number_with_unit(table, row, quantity)
        if value is not None:
            out.setdefault(row[key], {})[row["field"]] = _value(value, quantity, row)
    table.finish()
    return out


# --- what ships with the package ------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def bibliography() -> Mapping[str, Source]:
    """Every source the package's tables cite, by key.

    Example
    -------
    >>> print(bibliography()["WH-282"].author)
    Forest Products Laboratory
    """
    path = TABLES / "sources.toml"
    faults: list[Fault] = []
    out: dict[str, Source] = {}
    for key, data in load_toml(path).items():
        r = FieldReader(str(path), f"{key}.")
        r.known(data, ("author", "title", "edition", "year", "where"))
        year = r.count(data, "year", "", 0)
        author, title, edition, where = (r.text(data, k) for k in ("author", "title", "edition", "where"))
        out[key] = Source(key, author, title, edition, year, where)
        faults += r.faults
    raise_all(faults)
    return out


#: Units of the practice table, house quantity by name of value (the part before the first dot).
_PRACTICE = {
    "chip_thin": "length", "chip_thick": "length", "depth_share": "ratio", "rim_speed_steel": "speed",
    "rim_speed_carbide": "speed", "unmarked_rpm": "spindle_speed",
    "plunge_share": "ratio", "stepover_share": "ratio", "feed_per_tooth_share": "ratio",
    "reserve": "ratio", "last_depth": "length", "modulus": "pressure",
    "shear_modulus": "pressure", "strength": "pressure", "flute_share": "ratio", "holder_stiffness": "stiffness",
    "machine_stiffness": "stiffness", "friction": "ratio", "rake": "angle", "moisture": "ratio", "grip_share": "ratio",
    "slot_share": "ratio", "mark_spacing": "length", "push_off": "length", "edge_life": "distance",
    "wear_edge": "ratio", "wear_chip": "ratio", "stick_out_share": "ratio", "scrap_share": "ratio",
    "chip_spread": "ratio", "time_in_part": "time", "level_sanding": "time", "relief_sanding": "ratio",
    "cusp_sanding": "length",
}  # fmt: skip


@lru_cache(maxsize=1)
def practice() -> Mapping[str, Value]:
    """The trade's habits as values: common practice or memory, every one of them to be replaced by the shop's own.

    Returns
    -------
    mapping
        Name ("chip_thin.hardwood", "reserve") to Value.

    Example
    -------
    >>> practice()["chip_thin.hardwood"].kind
    'practice'
    """
    columns = (
        Column("name", required=True),
        Column("value", required=True),
        Column("unit", required=True),
        *STANDING,
    )
    table = TableReader(TABLES / "practice.csv", columns, "name")
    out: dict[str, Value] = {}
    for row in table.rows:
        check_standing(table, row, published=True)
        quantity = _PRACTICE.get((row["name"] or "").split(".")[0])
        if quantity is None:
            table.fault(row.number, "name", f"'{row['name']}' is not known", did_you_mean(str(row["name"]), _PRACTICE))
        elif table.sound(row, "value", "unit"):
            value = _number_with_unit(table, row, quantity)
            if value is not None:
                out[row["name"]] = _value(value, quantity, row)
    table.finish()
    return out


def _number_with_unit(table: TableReader, row: Row, quantity: str) -> float | None:
    """Cells "value" and "unit" together in the house unit; a fault is noted."""
    unit = "dimensionless" if row["unit"] == "-" else row["unit"]
    try:
        return read(f"{row['value']} {unit}", quantity, above=0.0)
    except InputError as e:
        table.faults += [replace(f, file=table.file, row=row.number, field="value") for f in e.faults]
        return None


def _value(value: float, quantity: str, row: Row) -> Value:
    source, place, kind, note = (row[k] or "" for k in ("source", "place", "kind", "note"))
    return Value(value, QUANTITIES[quantity].shown, source, place, kind, note)


@lru_cache(maxsize=1)
def _all_cautions() -> tuple[Caution, ...]:
    names = ("id", "topic", "item", "applies_to", "value", "basis")
    columns = (*(Column(n, required=n in ("id", "topic", "item", "value")) for n in names), *STANDING)
    table = TableReader(TABLES / "safety.csv", columns, "id")
    out = []
    for row in table.rows:
        check_standing(table, row, published=True)
        out.append(
            Caution(
                row["id"],
                row["topic"],
                row["item"],
                tuple((row["applies_to"] or "").split()),
                row["value"],
                row["basis"] or "",
                row["source"] or "",
                row["place"] or "",
                row["kind"] or "",
            )
        )
    table.finish()
    return tuple(out)


def cautions(topic: str = "", material: str = "") -> tuple[Caution, ...]:
    """Limits and rules of safe work; local codes and the makers' instructions come first.

    Parameters
    ----------
    topic : str
        Subject; empty for all.
    material : str
        Material id: what names this material, and what holds for every one. Empty for all.

    Returns
    -------
    tuple of Caution
        In the order of the table.

    Example
    -------
    >>> [c.value for c in cautions("wood dust", "white-oak") if c.applies_to]
    ['A1']
    """
    species = material.removeprefix("laminated-")
    return tuple(
        c
        for c in _all_cautions()
        if (not topic or c.topic == topic) and (not species or not c.applies_to or species in c.applies_to)
    )


def table_for_people(records: Iterable[Mapping[str, Any]], units: Mapping[str, str], index: str = "") -> pd.DataFrame:
    """Rows as a table for people: the unit of each column stands in ``attrs["units"]``.

    Parameters
    ----------
    records : iterable of mapping
        One for each row.
    units : mapping
        Column to its unit, "-" for pure numbers; columns of text need none.
    index : str
        Column that names the rows.
    """
    import pandas as pd

    out = pd.DataFrame(list(records))
    if index:
        out = out.set_index(index)
    out.attrs["units"] = dict(units)
    return out


def check_figures(name: str) -> Path:
    """The table of published or independently computed figures that tests and notebooks compare with.

    Parameters
    ----------
    name : str
        Its name without ending, e.g. "motion_oracles".

    Returns
    -------
    Path
        In ``shared`` of a checkout, or inside an installed package.

    Raises
    ------
    InputError
        When there is no such table.
    """
    package = Path(__file__).parent
    folder = next(f for f in (package.parent / "shared", package / "check_figures") if f.is_dir())
    path = folder / f"{name}.csv"
    if not path.exists():
        known = (p.stem for p in folder.glob("*.csv"))
        raise InputError(Fault(f"there is no table of check figures '{name}'", did_you_mean(name, known)))
    return path
