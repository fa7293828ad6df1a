"""The wood of a job: its parts handed to the take-off, and what that comes to as things to buy."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from shopcalc.errors import Fault, InputError, raise_all
from shopcalc.jobs.counting import finish_area
from shopcalc.jobs.reading import Job
from shopcalc.shop import Shop
from shopcalc.stock.blanks import Wanted
from shopcalc.stock.buying import Bought
from shopcalc.stock.takeoff import TakeOff, take_off


@dataclass(frozen=True)
class Purchase:
    """Wood to buy of one material.

    Parameters
    ----------
    material : str
        Id.
    net : float
        For the rough sizes of the parts [board_foot, m2 or piece].
    gross : float
        With waste [board_foot, m2 or piece].
    unit : str
        "board_foot", "m**2" or "piece".
    title : str
        What people call it; empty for the material's own.
    amount : Decimal or None
        Where it is bought by the piece; None goes by the material's price [currency].
    percent : float
        The shop's waste for this group [ratio].
    laid_out : bool
        Whether ``gross`` comes of a layout; else of the shop's waste.
    exact, tally : float or None
        Laid-out boards by their volume, and by the grading rules' tally [board_foot].
    least : float or None
        No layout on the same boards or sheets takes less, as a share of what was found [ratio].
    notes : tuple of str
        What to know before relying on it.
    """

    material: str
    net: float
    gross: float
    unit: str
    title: str = ""
    amount: Decimal | None = None
    percent: float = 0.0
    laid_out: bool = False
    exact: float | None = None
    tally: float | None = None
    least: float | None = None
    notes: tuple[str, ...] = ()


def wanted(job: Job, shop: Shop | None = None) -> tuple[Wanted, ...]:
    """Parts of the whole job as the take-off sees them, their length along the grain.

    Parameters
    ----------
    job : Job
        The job.
    shop : Shop, optional
        Whose materials count; None takes the one the job was read for.
    """
    shop = job.shop if shop is None else shop
    out = []
    for p in job.parts:
        size = {"length": p.length, "width": p.width, "extra_length": p.extra_length, "extra_width": p.extra_width}
        if p.grain == "width":
            size = {k: size[k.replace("length", "w!").replace("width", "length").replace("w!", "width")] for k in size}
        out.append(
            Wanted(
                p.id, p.title or p.id, p.quantity * job.quantity, p.material, shop.material(p.material).group,
                thickness=p.thickness, extra_thickness=p.extra_thickness, glued=p.glued, strips=p.strips,
                layers=p.layers, spares=None if p.spares is None else p.spares * job.quantity,
                test_pieces=p.test_pieces, stock=p.stock, **size,
            )
        )  # fmt: skip
    return tuple(out)


def take_off_job(
    job: Job, shop: Shop | None = None, *, layout: bool | None = None, tries: int = 240, seed: int = 1
) -> TakeOff:
    """What a job takes to buy, cut, glue, finish and lift.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    shop : Shop, optional
        Whose rules and stock list count; None takes the one the job was read for.
    layout : bool, optional
        Whether parts are laid out on boards and sheets; None does what the job, else the shop, says.
    tries, seed : int
        Of the layout [-].

    Returns
    -------
    TakeOff
        Joints count by the cheeks of their tenons.

    Raises
    ------
    InputError
        When parts name stock that the shop's stock.toml does not hold.
    """
    shop = job.shop if shop is None else shop
    said, rules = job.stock, shop.rates.stock
    rules = replace(rules, tally=rules.tally if said.tally is None else said.tally)
    shop_way = rules.layout if said.layout is None else said.layout
    raise_all(_unknown_stock(job, shop))
    cheeks = sum(n * 2 * getattr(o, "length", 0.0) * getattr(o, "width", 0.0) for n, o in job.done("tenon"))
    return take_off(
        wanted(job, shop),
        shop.materials,
        rules,
        shop.rack,
        waste=shop.rates.waste,
        layout=shop_way if layout is None else layout,
        quantity=job.quantity,
        joint_area=job.quantity * cheeks * 1e-6,
        finish_area=finish_area(job),
        coats=shop.rates.coats,
        hardware_weight=sum(h.quantity * (h.weight or 0.0) for h in job.hardware),
        system=job.system,
        tries=tries,
        seed=seed,
    )


def _unknown_stock(job: Job, shop: Shop) -> list[Fault]:
    faults = []
    for k, part in enumerate(job.parts):
        try:
            item = shop.rack.piece(part.stock) if part.stock else None
        except InputError as e:
            faults += [replace(f, file=job.file, field=f"parts[{k}].stock") for f in e.faults]
            continue
        if item and (part.width > item.width + 1e-6 or part.thickness > item.thickness + 1e-6):
            message = f"part '{part.id}' is larger in section than '{item.id}' of stock.toml"
            faults.append(Fault(message, "choose larger stock", file=job.file, field=f"parts[{k}].stock"))
    return faults


def wood_bought(taken: TakeOff) -> tuple[Purchase, ...]:
    """What a take-off comes to as things to buy, one for each material and way of buying.

    Parameters
    ----------
    taken : TakeOff
        Of the whole job.
    """
    groups: dict[tuple[str, str, bool, bool], list[Bought]] = {}
    for b in taken.bought:
        title = b.title if b.unit == "piece" else ""
        groups.setdefault((b.material, title, b.layout is not None, b.price is not None), []).append(b)
    out = []
    for (material, title, laid, priced), mine in groups.items():
        found = [(b.layout.bound, b.layout.cost) for b in mine if b.layout is not None]
        whole = sum(c for _, c in found)
        net, gross = sum(b.net for b in mine), sum(b.bought for b in mine)
        boards = laid and mine[0].kind == "boards"
        out.append(
            Purchase(
                material, net, gross, mine[0].unit, title,
                amount=sum((b.price or Decimal(0) for b in mine), Decimal(0)) if priced else None,
                percent=mine[0].percent, laid_out=laid,
                exact=sum(b.exact or 0.0 for b in mine) if boards else None,
                tally=sum(b.tallied or 0.0 for b in mine) if boards else None,
                least=sum(b for b, _ in found) / whole if whole else None,
            )
        )  # fmt: skip
    if out and any(p.laid_out for p in out):
        out[0] = replace(out[0], notes=taken.cautions)
    return tuple(out)
