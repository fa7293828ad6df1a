"""From finished parts to rough blanks, and from these to the pieces that are cut: strips, layers, spares, resawing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shopcalc.stock.layout import Piece
from shopcalc.stock.rules import StockRules
from shopcalc.stock.tallying import BOARD_FOOT, nominal_thickness

_MOST_LAYERS = 4  # resawn out of one board


@dataclass(frozen=True)
class Wanted:
    """A part as the take-off sees it.

    Parameters
    ----------
    part, title : str
        Id, and what people call it.
    count : int
        In the whole job [-].
    material : str
        Id.
    group : {"hardwood", "softwood", "sheet", "laminated"}
        Of the material.
    length, width, thickness : float
        Finished; the length runs along the grain [mm].
    extra_length, extra_width, extra_thickness : float
        Rough over finished [mm].
    glued : bool
        Whether its blank is glued up from strips.
    strips : int or None
        How many; None takes as many as the boards' usual widths ask for [-].
    layers : int
        Boards glued face to face [-].
    spares : int or None
        More of them than asked for; None follows the shop's rule [-].
    test_pieces : int
        Short pieces of the same section, for test cuts and set-up [-].
    stock : str
        Id of what is bought by the piece for it; empty for boards and sheets.
    """

    part: str
    title: str
    count: int
    material: str
    group: str
    length: float
    width: float
    thickness: float
    extra_length: float = 0.0
    extra_width: float = 0.0
    extra_thickness: float = 0.0
    glued: bool = False
    strips: int | None = None
    layers: int = 1
    spares: int | None = None
    test_pieces: int = 0
    stock: str = ""


@dataclass(frozen=True)
class Blank:
    """Rough size of one part, and what it is made of.

    Parameters
    ----------
    wanted : Wanted
        The part.
    spares : int
        More than asked for [-].
    why_spares : str
        The part's own number, or the shop's rule.
    length, width, thickness : float
        Of the whole rough blank [mm].
    strips, layers : int
        It is glued up from [-].
    strip_width, layer_thickness : float
        Rough, of each [mm]; the width with what jointing takes off.
    sold : float
        Thickness the wood is bought in [mm].
    per_board : int
        Layers resawn out of that thickness; 1 for none [-].
    test_length : float
        Of each test piece [mm].
    """

    wanted: Wanted
    spares: int
    why_spares: str
    length: float
    width: float
    thickness: float
    strips: int
    layers: int
    strip_width: float
    layer_thickness: float
    sold: float
    per_board: int
    test_length: float

    @property
    def count(self) -> int:
        """Whole blanks, spares included [-]."""
        return self.wanted.count + self.spares

    @property
    def net_area(self) -> float:
        """Faces of boards or sheets for all blanks, spares and test pieces at rough size, nothing lost [mm2]."""
        whole = self.count * self.layers * self.length * self.width
        tests = self.wanted.test_pieces * self.layers * self.test_length * self.width
        return (whole + tests) / self.per_board

    @property
    def net_volume(self) -> float:
        """The same at the thickness it is bought in [mm3]."""
        return self.net_area * self.sold

    @property
    def net_board_feet(self) -> float:
        """The same [board foot]."""
        return self.net_volume / BOARD_FOOT

    @property
    def glue_area(self) -> float:
        """Joints between strips and between layers of all blanks [mm2]."""
        edges = (self.strips - 1) * self.length * self.thickness
        return self.count * (edges + (self.layers - 1) * self.length * self.width)

    def pieces(self) -> tuple[Piece, ...]:
        """What is cut out of boards or sheets for it: strips of each layer, then test pieces."""
        name = self.wanted.part
        size = self.length, self.strip_width
        each = self.strips * self.layers
        out = [Piece(name, *size, name) for _ in range(math.ceil(self.count * each / self.per_board))]
        tests = math.ceil(self.wanted.test_pieces * each / self.per_board)
        return (*out, *(Piece(name, self.test_length, self.strip_width, f"{name} (test)") for _ in range(tests)))


def blank(wanted: Wanted, rules: StockRules) -> Blank:
    """Rough size of a part and how it is made up.

    Parameters
    ----------
    wanted : Wanted
        The part.
    rules : StockRules
        The shop's.

    Returns
    -------
    Blank
        Strips are as few as the usual width of boards, or the shop's widest strip, lets be; each is wider by what
        jointing takes off its two edges. Sheets keep their thickness.

    References
    ----------
    Common practice, no source.
    """
    length = wanted.length + wanted.extra_length
    width = wanted.width + wanted.extra_width
    sheet, by_piece = wanted.group == "sheet", bool(wanted.stock)
    thickness = wanted.thickness + (0.0 if sheet or by_piece else wanted.extra_thickness)
    strips = 1
    if wanted.strips is not None:
        strips = wanted.strips
    elif wanted.glued and not sheet:
        strips = max(1, math.ceil(width / (strip_limit(rules) - 2 * rules.edge_loss) - 1e-9))
    strip = width if strips == 1 else width / strips + 2 * rules.edge_loss
    layer = thickness if wanted.layers == 1 else thickness / wanted.layers + rules.layer_extra
    sold, per_board = _bought_thickness(wanted, layer, strip, rules)
    spares, why = wanted.spares, "said at the part"
    if spares is None:
        spares = wanted.count // rules.spare_per if rules.spare_per else 0
        why = f"one per {rules.spare_per} alike" if spares else ""
    return Blank(
        wanted, spares, why if spares else "", length, width, thickness, strips, wanted.layers, strip, layer, sold,
        per_board, min(length, rules.test_length),
    )  # fmt: skip


def strip_limit(rules: StockRules) -> float:
    """Width a strip may have before jointing: the shop's widest, or a usual board without its trims [mm].

    Parameters
    ----------
    rules : StockRules
        The shop's.
    """
    usual = sum(rules.board_width) / 2 - 2 * rules.edge_trim
    return max(min(rules.strip_width, usual), 4 * rules.edge_loss + 1.0)


def _bought_thickness(wanted: Wanted, layer: float, strip: float, rules: StockRules) -> tuple[float, int]:
    """Thickness bought and layers out of it: the least wood per layer, and plainly sawn where that takes no more."""
    if wanted.group not in ("hardwood", "softwood") or wanted.stock:
        return layer, 1
    best = nominal_thickness(layer), 1
    if rules.resaw and strip <= rules.resaw_width:
        for n in range(2, _MOST_LAYERS + 1):
            sold = nominal_thickness(n * layer + (n - 1) * rules.resaw_kerf)
            if sold / n < best[0] / best[1] - 1e-9:
                best = sold, n
    return best
