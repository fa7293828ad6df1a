"""Materials: species, sheets and laminated stock; every value names its source and how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.moves import Floats
from shopcalc.reading import Column, TableReader
from shopcalc.sources import TABLES, Value, practice, read_values, table_for_people

if TYPE_CHECKING:
    import pandas as pd

Group = Literal["hardwood", "softwood", "sheet", "laminated"]
GROUPS: tuple[Group, ...] = ("hardwood", "softwood", "sheet", "laminated")

#: Fields with a value of their own, and what each measures.
FIELDS: dict[str, str] = {
    "density": "density",
    "specific_gravity_green": "ratio",
    "specific_gravity_12": "ratio",
    "side_hardness": "force",
    "shrink_radial": "ratio",
    "shrink_tangential": "ratio",
    "change_radial": "per_moisture",
    "change_tangential": "per_moisture",
    "chip_thin": "length",
    "chip_thick": "length",
}


@dataclass(frozen=True)
class Material:
    """What a part is made of. An unknown value is None, never 0.

    Parameters
    ----------
    id, title : str
        Key ("white-oak"), and what people call it.
    group : {"hardwood", "softwood", "sheet", "laminated"}
        Group whose practice applies.
    density : float or None
        At 12 % moisture, water included [kg/m3].
    specific_gravity_12 : float or None
        Ovendry mass over the volume at 12 % moisture [-]; not the basis of green or ovendry volume.
    side_hardness : float or None
        At 12 % moisture [N].
    shrink_radial, shrink_tangential : float or None
        From green to ovendry [-].
    change_radial, change_tangential : float or None
        Change of size per percent of moisture, for 6 to 14 % [1/% moisture].
    chip_thin, chip_thick : float
        Window of the mean chip: thinner rubs and burns, thicker tears [mm].
    price : Decimal or None
        From the shop's rates, per ``price_unit``.
    price_unit : str
        "board_foot" or "m**2".
    values : mapping
        Field name to Value: number, unit, source, place, kind and note.
    full_name, note : str
        Name in the handbook, and what else to know.
    """

    id: str
    title: str
    group: Group
    density: float | None
    specific_gravity_12: float | None
    side_hardness: float | None
    shrink_radial: float | None
    shrink_tangential: float | None
    change_radial: float | None
    change_tangential: float | None
    chip_thin: float
    chip_thick: float
    price: Decimal | None = None
    price_unit: str = "board_foot"
    values: Mapping[str, Value] = field(default_factory=dict)
    full_name: str = ""
    note: str = ""


def density_at(specific_gravity: float | Floats, moisture: float | Floats = 0.12) -> Floats:
    """Density of wood with its water.

    Parameters
    ----------
    specific_gravity : float or (n,) float
        Ovendry mass over the volume at this same moisture [-].
    moisture : float or (n,) float
        Mass of water over ovendry mass [ratio], not negative.

    Returns
    -------
    float or (n,) float
        [kg/m3].

    Notes
    -----
    Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), Eq. 4-14.

    Example
    -------
    >>> round(float(density_at(0.60, 0.12)), 6)
    672.0
    """
    out: Floats = 1000.0 * np.asarray(specific_gravity, dtype=float) * (1.0 + np.asarray(moisture, dtype=float))
    return out


def strength_at(dry: float | Floats, green: float | Floats, moisture: float | Floats, meeting: float = 0.25) -> Floats:
    """Strength or stiffness of clear wood at a moisture between dry and green.

    Parameters
    ----------
    dry, green : float or (n,) float
        The property at 12 % moisture and green [any one unit].
    moisture : float or (n,) float
        [ratio]; at ``meeting`` and above it is the green one.
    meeting : float
        Moisture below which drying begins to tell: 0.25, but 0.24 for white ash and Douglas-fir, 0.27 for yellow birch,
        0.21 for loblolly and longleaf pine [ratio].

    Returns
    -------
    float or (n,) float
        [unit of the inputs].

    Notes
    -----
    Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), Eq. 5-3.

    Example
    -------
    >>> round(float(strength_at(103_000, 66_000, 0.08, 0.24)), -2)
    119500.0
    """
    at_12 = np.asarray(dry, dtype=float)
    wet = np.minimum(np.asarray(moisture, dtype=float), meeting)
    out: Floats = at_12 * (at_12 / np.asarray(green, dtype=float)) ** ((0.12 - wet) / (meeting - 0.12))
    return out


def specific_gravity_12(green: float | Floats) -> Floats:
    """Specific gravity at 12 % moisture estimated from the one on green volume, where no table has it.

    Parameters
    ----------
    green : float or (n,) float
        Ovendry mass over green volume [-].

    Returns
    -------
    float or (n,) float
        [-]; within 5 % of the handbook's own figures for species that have both.

    Notes
    -----
    Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), Eq. 4-13 with 30 % as fibre saturation.

    Example
    -------
    >>> round(float(specific_gravity_12(0.56)), 3)
    0.615
    """
    g = np.asarray(green, dtype=float)
    out: Floats = g / (1.0 - 0.265 * g * (1.0 - 12.0 / 30.0))
    return out


def change_coefficient(shrinkage: float | Floats) -> Floats:
    """Change of size per percent of moisture from the whole shrinkage of a single species.

    Parameters
    ----------
    shrinkage : float or (n,) float
        Green to ovendry [ratio], 0 to below 1.

    Returns
    -------
    float or (n,) float
        [1/% moisture], for 6 to 14 % moisture, based on the size at about 10 %.

    Notes
    -----
    C = S / (3000 - 20 S), S in percent: shrinkage taken as straight from 30 % moisture down, referred to the size at
    10 % (derived; it gives the single species of Wood Handbook FPL-GTR-190 (2010) Table 13-5). It does not hold for
    commercial groups such as the oaks: use their stored coefficients.

    Example
    -------
    >>> round(float(change_coefficient(0.099)), 5)
    0.00353
    """
    percent = 100.0 * np.asarray(shrinkage, dtype=float)
    out: Floats = percent / (3000.0 - 20.0 * percent)
    return out


def dimensional_change(
    size: float | Floats, coefficient: float | Floats, moisture_from: float | Floats, moisture_to: float | Floats
) -> Floats:
    """How much a board grows (positive) or shrinks across the grain between two moistures.

    Parameters
    ----------
    size : float or (n,) float
        Width or thickness at the first moisture [mm].
    coefficient : float or (n,) float
        Change per percent of moisture, radial or tangential [1/% moisture].
    moisture_from, moisture_to : float or (n,) float
        [% moisture], both within 6 to 14.

    Returns
    -------
    float or (n,) float
        [mm].

    Raises
    ------
    InputError
        When a moisture lies outside 6 to 14 %, where the coefficient does not hold.

    Notes
    -----
    Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), Eq. 13-2.

    Example
    -------
    >>> round(float(dimensional_change(232, 0.00245, 8, 11)), 1)
    1.7
    """
    first, last = np.asarray(moisture_from, dtype=float), np.asarray(moisture_to, dtype=float)
    if not (np.all((first >= 6) & (first <= 14)) and np.all((last >= 6) & (last <= 14))):
        raise InputError(
            Fault(
                f"moistures {moisture_from} and {moisture_to} % do not both lie within 6 to 14 %",
                "the coefficients hold only there; measure the wood again when it has settled",
            )
        )
    out: Floats = np.asarray(size, dtype=float) * np.asarray(coefficient, dtype=float) * (last - first)
    return out


def read_materials(folder: Path | str | None = None, base: Mapping[str, Material] | None = None) -> dict[str, Material]:
    """Read materials: materials.csv names them, material_values.csv holds one value a row with its source and kind.

    Parameters
    ----------
    folder : Path or str, optional
        Where the two tables are; the published ones of the package if none is given. Of a shop's own folder either
        may be missing.
    base : mapping, optional
        Materials that the folder adds to or overrides, value by value.

    Returns
    -------
    dict
        Id to Material.

    Raises
    ------
    InputError
        With every fault: file, row, column, value and remedy.
    """
    at, published = (TABLES, True) if folder is None else (Path(folder), False)
    out = dict(base or {})
    names, figures = at / "materials.csv", at / "material_values.csv"
    rows = _read_names(names, out) if published or names.exists() else {}
    values = (
        read_values(figures, FIELDS, "material", [*out, *rows], published=published)
        if published or figures.exists()
        else {}
    )
    for key in dict.fromkeys([*rows, *values]):
        old, own = out.get(key), values.get(key, {})
        cells = rows.get(key) or vars(old)
        known = {**(old.values if old else {}), **_of_species(out.get(cells.get("values_of") or "")), **own}
        if "specific_gravity_12" in own and "density" not in own:
            known.pop("density", None)  # else an old density would stand beside a new specific gravity
        if old and cells["group"] != old.group:
            known = {k: v for k, v in known.items() if not k.startswith("chip_") or k in own}
        out[key] = _material(key, cells, known)
    return out


def _read_names(path: Path, known: Mapping[str, Material]) -> dict[str, dict[str, Any]]:
    columns = (
        Column("id", required=True),
        Column("title", required=True),
        Column("full_name"),
        Column("group", required=True, choices=GROUPS),
        Column("values_of"),
        Column("note"),
    )
    table = TableReader(path, columns, "id")
    above = set(known)
    for row in table.rows:
        if row["values_of"] and row["values_of"] not in above:
            remedy = f"{did_you_mean(row['values_of'], above)} (it must stand in a row above)"
            table.fault(row.number, "values_of", f"there is no material '{row['values_of']}'", remedy)
        above.add(row["id"] or "")
    table.finish()
    return {row["id"]: dict(row.cells) for row in table.rows}


def _of_species(like: Material | None) -> dict[str, Value]:
    """Values of the species a laminated blank is glued from; its chip window comes with its own group."""
    if like is None:
        return {}
    return {k: v for k, v in like.values.items() if k not in ("chip_thin", "chip_thick")}


def _material(key: str, cells: Mapping[str, Any], known: Mapping[str, Value]) -> Material:
    values = dict(known)
    group: Group = cells["group"]
    for name in ("chip_thin", "chip_thick"):
        values.setdefault(name, practice()[f"{name}.{group}"])
    if "specific_gravity_12" not in values and (green := values.get("specific_gravity_green")):
        estimate = float(specific_gravity_12(green.value))
        values["specific_gravity_12"] = _derived(green, estimate, "", "Eq. 4-13 from the green one")
    if "density" not in values and (dry := values.get("specific_gravity_12")):
        values["density"] = _derived(dry, float(density_at(dry.value)), "kg/m3", "Eq. 4-14 at 12 % moisture")
    number = {name: values[name].value if name in values else None for name in FIELDS}
    number.pop("specific_gravity_green")
    return Material(
        id=key,
        title=cells["title"],
        group=group,
        values=values,
        full_name=cells.get("full_name") or "",
        note=cells.get("note") or "",
        **number,  # type: ignore[arg-type]
    )


def _derived(basis: Value, value: float, unit: str, place: str) -> Value:
    """A value computed from another: no surer than what it rests on."""
    kind = "memory" if basis.kind == "memory" else "derived"
    note = f"from a specific gravity that is {basis.kind}: {basis.source} {basis.place}".strip()
    return Value(value, unit, "WH-282", place, kind, note)


def laminated(material: Material) -> Material:
    """A blank glued up from this species: the same values, the group (and so the chip window) of laminated stock.

    Parameters
    ----------
    material : Material
        A hardwood or softwood.

    Example
    -------
    >>> laminated(read_materials()["white-oak"]).id
    'laminated-white-oak'
    """
    cells = {
        "title": f"laminated {material.title} blank",
        "group": "laminated",
        "full_name": f"{material.full_name or material.title}, glued up",
        "note": "values of its species, valid where the laminations lie alike; glue lines dull the edge sooner",
    }
    made = _material(f"laminated-{material.id}", cells, _of_species(material))
    return replace(made, price=None)


def choose(materials: Mapping[str, Material], key: str) -> Material:
    """The material of that id; "laminated-ID" of any solid species is made when it is not in the table.

    Parameters
    ----------
    materials : mapping
        By id.
    key : str
        Id.

    Raises
    ------
    InputError
        When there is none, with the nearest id.
    """
    if key in materials:
        return materials[key]
    species = materials.get(key.removeprefix("laminated-"))
    if key.startswith("laminated-") and species is not None and species.group in ("hardwood", "softwood"):
        return laminated(species)
    raise InputError(Fault(f"there is no material '{key}'", did_you_mean(key, materials)))


def frame(materials: Mapping[str, Material]) -> pd.DataFrame:
    """Materials as a table for people, one a row.

    Parameters
    ----------
    materials : mapping
        By id.

    Returns
    -------
    pandas.DataFrame
        Units stand in the column names and in ``attrs["units"]``; unknown values are missing.
    """
    rows = [
        {
            "id": m.id,
            "title": m.title,
            "group": m.group,
            "density_kg_m3": m.density,
            "specific_gravity_12": m.specific_gravity_12,
            "side_hardness_N": m.side_hardness,
            "shrink_radial": m.shrink_radial,
            "shrink_tangential": m.shrink_tangential,
            "change_radial_per_moisture": m.change_radial,
            "change_tangential_per_moisture": m.change_tangential,
            "chip_thin_mm": m.chip_thin,
            "chip_thick_mm": m.chip_thick,
        }
        for m in materials.values()
    ]
    units = {
        "density_kg_m3": "kg/m3",
        "specific_gravity_12": "-",
        "side_hardness_N": "N",
        "shrink_radial": "-",
        "shrink_tangential": "-",
        "change_radial_per_moisture": "1/% moisture",
        "change_tangential_per_moisture": "1/% moisture",
        "chip_thin_mm": "mm",
        "chip_thick_mm": "mm",
    }
    return table_for_people(rows, units, "id")


def values_frame(material: Material) -> pd.DataFrame:
    """Every value of one material with its unit, source, place and kind.

    Parameters
    ----------
    material : Material
        The material.

    Returns
    -------
    pandas.DataFrame
        One value a row.
    """
    rows = [
        {
            "field": name,
            "value": v.value,
            "unit": v.unit or "-",
            "source": v.source,
            "place": v.place,
            "kind": v.kind,
            "note": v.note,
        }
        for name, v in material.values.items()
    ]
    return table_for_people(rows, {}, "field")
