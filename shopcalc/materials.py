"""Materials: species, sheets and laminated stock; every value names its source and how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from shopcalc.sources import Value

Group = Literal["hardwood", "softwood", "sheet", "laminated"]


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
