"""A new job file, from a commented example that can be quoted at once."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.job_file.editing import write_value
from shopcalc.jobs.reading import check_job
from shopcalc.shop import Shop
from shopcalc.sources import load_toml
from shopcalc.units import System

_HEAD = """# A job. Every text carries its unit; a bare number is a count. What is not said is the shop's usual.

[job]
name = {name}
machine = {machine}
quantity = 1                            # finished pieces
system = {system}                         # inch or metric: what people read
# asked_price = {price}            # for the whole job, where it is settled
# note = "what the customer wants"
"""

_FRAME = """
# A frame becomes parts, operations, programs and loads by itself. Give it the finished size; add what differs from
# the shop's usual.

[[frames]]
id = "door"
title = "door"
# quantity = 2                          # in one finished piece
material = {wood}
# panel_material = {other}
width = {width}
height = {height}
thickness = {thick}
# stile = {stile}
# top_rail = {stile}                    # also bottom_rail
# middle_rails = 1                      # or [{{ width = {stile}, from_foot = {middle} }}]
# muntins = 1                           # or one number for each row of panels, from the foot upwards: [2, 0]
# arch = {rise}                         # rise of an arch that hollows the top rail
# joint = "plain"                       # plain, haunched, stepped or paired
# panel = "raised"                      # raised or flat
"""

_PARTS = """
# A part is described as finished; rough sizes add 1 in of length, 1/4 in of width and 1/8 in of thickness unless it
# says otherwise (extra_length, extra_width, extra_thickness).

[[parts]]
id = "shelf"
title = "shelf"
quantity = 2
material = {wood}
length = {height}
width = {shelf}
thickness = {thick}
# glued = true                          # from several boards
[[parts.operations]]
kind = "bore"                           # or face, sink, groove, rebate, cut out, tenon, mortise, raise, incise, carve
program = "shelf-holes"
cutter = {cutter}
count = 4
diameter = {hole}
depth = {deep}

# A program runs operations at a station: flat, edge or end. Without a file it is planned from the dimensions alone.

[[programs]]
id = "shelf-holes"
title = "shelf: holes"
station = "flat"
# file = "programs/shelf-holes.nc"
# logged = "4 min"                      # what one load took by the clock
"""

_TAIL = """
# Loads that differ from one for each piece, hours you know better, and what is bought:

# [[loads]]
# program = "..."
# part = "..."
# count = 2
#
# [[clamps]]                            # a fixture of the shop's fixtures.toml, its middle from the program's zero
# program = "..."
# part = "..."
# fixture = "strap"
# x = "-1 1/2 in"
# y = "6 in"
# turn = "90 deg"                       # its length against x; 0 when left out
# presses_x = "1/2 in"                  # where its pad presses the part
# presses_y = "6 in"
# stops = "-x"                          # the way a stop keeps the part from moving: +x, -x, +y or -y
#
# [phases]
# delivery = "2 h"
#
# [[hardware]]
# name = "butt hinge"
# quantity = 2
# price = {price}
"""

_SIZES: dict[System, dict[str, str]] = {
    "inch": {"width": "20 in", "height": "30 in", "thick": "7/8 in", "stile": "2 1/2 in", "middle": "12 in",
             "rise": "2 in", "shelf": "6 in", "deep": "1/2 in"},
    "metric": {"width": "500 mm", "height": "760 mm", "thick": "22 mm", "stile": "65 mm", "middle": "300 mm",
               "rise": "50 mm", "shelf": "150 mm", "deep": "12 mm"},
}  # fmt: skip


def new_job(
    path: Path | str, name: str, shop: Shop, *, kind: Literal["frame", "parts"] = "frame", system: System = "inch"
) -> Path:
    """Begin a job file.

    Parameters
    ----------
    path : Path or str
        Of the new file.
    name : str
        What people call the job.
    shop : Shop
        Whose machine, wood and cutter the example takes.
    kind : {"frame", "parts"}
        A frame with panels, or parts with operations.
    system : {"inch", "metric"}
        What people read.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    InputError
        When there is a file already, or the name is empty.
    """
    target = Path(path)
    if not name.strip():
        raise InputError(Fault("the job has no name", "give it one"))
    if kind not in ("frame", "parts"):
        raise InputError(Fault(f"there is no example of {kind!r}", did_you_mean(str(kind), ("frame", "parts"))))
    text = _text(name, shop, kind, system)
    try:
        with target.open("x", encoding="utf-8", newline="\n") as out:
            out.write(text)
    except FileExistsError:
        raise InputError(Fault("this file is there already", "open it, or name another", file=str(path))) from None
    except OSError as e:
        reason = (e.strerror or str(e)).lower()
        raise InputError(Fault(f"it cannot be written ({reason})", "check the folder", file=str(path))) from None
    check_job(load_toml(target), str(target), shop)
    return target


def _text(name: str, shop: Shop, kind: str, system: System) -> str:
    woods = list(shop.rates.materials)
    hard = [w for w in woods if shop.material(w).group in ("hardwood", "softwood")] or woods
    drill = next((c for c in shop.cutters.values() if c.shape == "drill"), None) or next(iter(shop.cutters.values()))
    words = {
        "name": name.strip(), "machine": next(iter(shop.machines)), "system": system, "wood": hard[0],
        "other": hard[min(1, len(hard) - 1)], "price": f"1200 {shop.rates.currency}", "cutter": drill.id,
        "hole": f"{drill.diameter:g} mm", **_SIZES[system],
    }  # fmt: skip
    return (_HEAD + (_FRAME if kind == "frame" else _PARTS) + _TAIL).format(
        **{key: write_value(value) for key, value in words.items()}
    )
