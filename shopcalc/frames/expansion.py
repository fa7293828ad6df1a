"""From frames to a job's own tables: parts with operations, programs with stations, loads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.frames.checks import refusals
from shopcalc.frames.laying import lay_out
from shopcalc.frames.members import Joint, Layout, Member
from shopcalc.frames.records import Frame
from shopcalc.frames.sizing import sizes_of
from shopcalc.machines import Machine, StationName
from shopcalc.shop import Shop
from shopcalc.units import System, write

Table = dict[str, Any]

_CENTRED = "joints lie in the middle of the thickness: all wood of the frame to one thickness"
_TURNED = {
    True: "turned and loaded again for the other end, the reference face to the clamp both times; back-up block behind "
    "the exit; clamp so that it cannot lift",
    False: "turned over and loaded again for the other end, the reference edge at the stop both times; back-up block "
    "behind the exit; clamp so that it cannot lift",
}


@dataclass(frozen=True, eq=False)
class Expansion:
    """Frames as a job's tables.

    Parameters
    ----------
    parts, programs, loads : tuple of dict
        As a job file says them: every length a text with its unit.
    layouts : tuple of Layout
        One for each frame.
    owners : mapping
        Id of part or program to the number of its frame, from 0.
    """

    parts: tuple[Table, ...]
    programs: tuple[Table, ...]
    loads: tuple[Table, ...]
    layouts: tuple[Layout, ...]
    owners: Mapping[str, int]


def layout(frame: Frame, shop: Shop, system: System = "inch", machine: Machine | None = None) -> Layout:
    """Lay out a frame.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    shop : Shop
        For its rack of cutters.
    system : {"inch", "metric"}
        Whose usual sizes are taken.
    machine : Machine, optional
        Whose stations must take the parts.

    Returns
    -------
    Layout
        Members, joints and openings. Geometry.

    Raises
    ------
    InputError
        With everything that makes it impossible, and the size to change by how much.

    Example
    -------
    >>> from shopcalc.shop import Shop
    >>> door = Frame(id="door", material="white-oak", width="20 in", height="30 in", thickness="7/8 in")
    >>> [o.width / 25.4 for o in layout(door, Shop.open()).openings]
    [15.0]
    """
    sizes = sizes_of(frame, shop, system)
    found = refusals(frame, sizes, shop, machine, system)
    raise_all([Fault(r.message, r.remedy, field=r.field) for r in found])
    return lay_out(frame, sizes, system)


def expand(
    frames: Sequence[Frame],
    shop: Shop,
    machine: Machine | None = None,
    system: System = "inch",
    *,
    file: str = "",
    taken: Sequence[str] = (),
) -> Expansion:
    """Write frames as the tables of a job.

    Parameters
    ----------
    frames : sequence of Frame
        In the order of the file.
    shop : Shop
        For cutters and materials.
    machine : Machine, optional
        Whose stations must take the parts.
    system : {"inch", "metric"}
        What the shop reads.
    file : str
        What faults call it.
    taken : sequence of str
        Ids of programs that stand already.

    Returns
    -------
    Expansion
        Parts of one section and joint share their programs, over all frames.

    Raises
    ------
    InputError
        With every fault of every frame, at ``frames[i].field``.
    """
    faults: list[Fault] = []
    layouts: list[Layout] = []
    seen: set[str] = set()
    for i, frame in enumerate(frames):
        place = f"frames[{i}]"
        found = list(_names(frame, shop))
        if frame.id in seen:
            found.append(("id", f"'{frame.id}' stands twice", "give each its own id"))
        seen.add(frame.id)
        faults += [Fault(m, r, file=file, field=f"{place}.{f}") for f, m, r in found]
        try:
            layouts.append(layout(frame, shop, system, machine))
        except InputError as e:
            faults += [
                Fault(f"frame '{frame.id}': {f.message}", f.remedy, file=file, field=f"{place}.{f.field}")
                for f in e.faults
            ]
    raise_all(faults)
    tables = _Tables(system, set(taken), shop)
    for i, laid in enumerate(layouts):
        tables.add(laid, i)
    return Expansion(
        tuple(tables.parts), tuple(tables.programs), tuple(tables.loads), tuple(layouts), dict(tables.owners)
    )


def _names(frame: Frame, shop: Shop) -> Iterator[tuple[str, str, str]]:
    """Woods that the shop does not know; cutters are looked up with what they must do."""
    for field in ("material", "panel_material"):
        key = getattr(frame, field)
        if key is None:
            continue
        try:
            shop.material(key)
        except InputError:
            yield field, f"there is no material '{key}'", did_you_mean(key, shop.materials)


def text(value: float, system: System) -> str:
    """A length as a person would write it, and exact: in fractions where they are.

    Parameters
    ----------
    value : float
        [mm].
    system : {"inch", "metric"}
        To write it in.

    Example
    -------
    >>> text(22.225, "inch"), text(6.223, "inch"), text(12.5, "metric")
    ('7/8 in', '0.245 in', '12.5 mm')
    """
    number = value / 25.4 if system == "inch" else value
    if system == "inch" and abs(number * 64 - round(number * 64)) < 1e-7:
        return write(round(number * 64) / 64 * 25.4, "length", "inch")
    shown = f"{number:.8f}".rstrip("0").rstrip(".")
    return f"{shown} {'in' if system == 'inch' else 'mm'}"


class _Tables:
    """Gathers the tables of all frames."""

    def __init__(self, system: System, taken: set[str], shop: Shop) -> None:
        self.system, self.taken, self.shop = system, taken, shop
        self.parts, self.programs, self.loads = list[Table](), list[Table](), list[Table]()
        self.owners: dict[str, int] = {}
        self._known: dict[tuple[Any, ...], str] = {}

    def add(self, laid: Layout, number: int) -> None:
        """One frame's parts, in the order of its members."""
        for key in dict.fromkeys(m.part for m in laid.members):
            alike = [m for m in laid.members if m.part == key]
            self._part(laid, alike, number)

    def _text(self, value: float) -> str:
        return text(value, self.system)

    def _part(self, laid: Layout, alike: list[Member], number: int) -> None:
        frame, m = laid.frame, alike[0]
        panel = m.role == "panel"
        table: Table = {
            "id": m.part,
            "title": _title(laid, alike),
            "quantity": len(alike) * frame.quantity,
            "material": (frame.panel_material or frame.material) if panel else frame.material,
            "length": self._text(m.length),
            "width": self._text(m.width),
            "thickness": self._text(m.thickness),
        }
        for name in ("extra_length", "extra_width", "extra_thickness"):
            if (extra := getattr(frame, name)) is not None:
                table[name] = self._text(extra)
        sheet = self.shop.material(table["material"]).group == "sheet"
        if sheet:
            table["extra_thickness"] = self._text(0.0)
        if panel and (not sheet if frame.glued is None else frame.glued):
            table["glued"] = True
        if not frame.finished:
            table["finished"] = False
        table["note"] = _note(laid, m, self.system)
        table["operations"] = []
        for step in _steps(laid, m, self._text):
            self._step(laid, table, m, step, number)
        self.parts.append(table)
        self.owners[m.part] = number

    def _step(self, laid: Layout, part: Table, m: Member, step: _Step, number: int) -> None:
        """Operations of one program, the program unless a like one is there, and its loads."""
        across = () if step.station == "end" else (part["length"],)
        section = (*across, part["width"], part["thickness"], part["material"])
        does = tuple(tuple((k, str(v)) for k, v in o.items() if k != "note") for o in step.operations)
        key = (step.station, *section, does)
        name = self._known.get(key)
        if name is None:
            name = self._known[key] = self._free(f"{m.part}-{step.name}")
            title = f"{part['title']}: {step.title}"
            note = {"note": step.note} if step.note else {}
            self.programs.append({"id": name, "title": title, "station": step.station} | note)
            self.owners[name] = number
        if step.after:
            program = next(p for p in self.programs if p["id"] == name)
            earlier = [*program.get("after", ()), *(o["program"] for o in part["operations"])]
            program["after"] = list(dict.fromkeys(earlier))
        part["operations"] += [{"kind": o["kind"], "program": name, **o} for o in step.operations]
        if step.loads > 1:
            self.loads.append({"program": name, "part": m.part, "count": step.loads * part["quantity"]})

    def _free(self, name: str) -> str:
        found, n = name, 1
        while found in self.taken:
            n += 1
            found = f"{name}-{n}"
        self.taken.add(found)
        return found


@dataclass(frozen=True)
class _Step:
    """What one program does to a part, and how often each piece is clamped for it."""

    name: str
    title: str
    station: StationName
    operations: tuple[Table, ...]
    loads: int = 1
    after: bool = False
    note: str = ""


def _title(laid: Layout, alike: list[Member]) -> str:
    frame, m = laid.frame, alike[0]
    named = frame.title or frame.id
    what = m.role if len(alike) > 1 or m.role != "rail" else m.name
    arched = "arched " if len(m.outline) > 4 else ""
    raised = "raised " if m.role == "panel" and frame.panel == "raised" else ""
    return f"{arched}{raised}{what}, {named}"


def _note(laid: Layout, m: Member, system: System) -> str:
    frame = laid.frame
    if m.role == "panel":
        tongue = write(laid.sizes.tongue, "length", system)
        return f"tongue {tongue} thick, loose in its grooves and never glued" + (
            f"; {frame.note}" if frame.note else ""
        )
    reference = {
        "stile": "reference edge: the inner one; reference end: the foot",
        "rail": "reference edge: the outer one" if m.grooves == 1 else "reference edge: the lower one",
        "muntin": "reference edge: the left one",
    }[m.role]
    return f"{reference}; {_CENTRED}" + (f"; {frame.note}" if frame.note else "")


def _steps(laid: Layout, m: Member, say: Any) -> Iterator[_Step]:
    if m.role == "stile":
        yield from _stile(laid, m, say)
    elif m.role == "rail":
        yield from _rail(laid, m, say)
    elif m.role == "muntin":
        yield _Step("grooves", "panel grooves", "edge", (_groove(laid, say),), loads=2)
        yield _Step("ends", "stub tenon", "end", (_stub(laid, m, say),), loads=2, note=_TURNED[True])
    else:
        yield from _panel(laid, m, say)


def _groove(laid: Layout, say: Any, **more: str) -> Table:
    s = laid.sizes
    return {"kind": "groove", "cutter": s.cutters[0], "width": say(s.groove), "depth": say(s.groove_depth), **more}


def _stile(laid: Layout, m: Member, say: Any) -> Iterator[_Step]:
    low, high = laid.stile_groove
    more: dict[str, str] = {}
    if low > 1e-6 or high < m.length - 1e-6:
        more["length"] = say(high - low)
        if abs(low + high - m.length) > 1e-6:
            more["start"] = say(low)
        more["note"] = "stopped: its ends lie within mortises" if low > 1e-6 else "stopped within the upper mortise"
    yield _Step("grooves", "panel groove", "edge", (_groove(laid, say, **more),))
    sizes: dict[tuple[float, str], list[float]] = {}
    for joint in laid.joints:
        for a, b in joint.mortises:
            sizes.setdefault((round(b - a, 6), joint.corners), []).append((a + b) / 2)
    operations = tuple(_mortise(laid, say, long, corners, places) for (long, corners), places in sizes.items())
    number = sum(len(j.mortises) for j in laid.joints)
    yield _Step("mortises", f"{number} mortises", "edge", operations)


def _mortise(laid: Layout, say: Any, long: float, corners: str, places: list[float]) -> Table:
    s = laid.sizes
    out: Table = {
        "kind": "mortise", "cutter": s.cutters[1], "from_end": [say(p) for p in places], "length": say(long),
        "width": say(s.mortise), "depth": say(s.mortise_depth),
    }  # fmt: skip
    if corners == "rounded":
        out["note"] = "ends stay round: the tenons are rounded"
    else:
        out["corners"] = corners
    return out


def _rail(laid: Layout, m: Member, say: Any) -> Iterator[_Step]:
    joint = next(j for j in laid.joints if j.rail == m.name)
    centred = abs(2 * joint.tenon.from_edge + joint.tenon.width - m.width) < 1e-6
    yield _Step("ends", _tenon_title(joint), "end", (_tenon(laid, joint, m, say),), loads=2, note=_TURNED[centred])
    if len(m.outline) == 4:
        yield _Step("grooves", "panel groove", "edge", (_groove(laid, say),), loads=m.grooves)
        return
    frame, span = laid.frame, laid.frame.width - 2 * laid.sizes.stile
    arch: Table = {"kind": "cut out", "cutter": laid.sizes.cutters[4], "rise": say(frame.arch), "span": say(span)}
    yield _Step("arch", "arch", "flat", (arch,), after=True, note="after the tenons, while its edges are straight")
    hollow = _groove(laid, say, length=say(span), rise=say(frame.arch))
    note = "after the tenons and the arch: the cutter runs out over the shoulders; the hollowed edge looks up"
    yield _Step("groove", "panel groove along the arch", "edge", (hollow,), after=True, note=note)


def _tenon_title(joint: Joint) -> str:
    return {"plain": "tenon", "haunched": "haunched tenon", "stepped": "stepped tenon", "paired": "pair of tenons"}[
        joint.style
    ]


def _tenon(laid: Layout, joint: Joint, m: Member, say: Any) -> Table:
    t = joint.tenon
    out: Table = {
        "kind": "tenon", "cutter": laid.sizes.cutters[2], "length": say(t.length), "width": say(t.width),
        "thickness": say(t.thickness),
    }  # fmt: skip
    if t.stub_length:
        out["stub"] = say(t.stub_length)
        if t.stub_right < 1e-9:
            out["haunch"] = say(t.stub_left)
    if abs(2 * t.from_edge + t.width - m.width) > 1e-6:
        out["from_edge"] = say(t.from_edge)
    if t.gap:
        out["gap"] = say(t.gap)
    if t.rounded:
        out["rounded"] = True
    return out


def _stub(laid: Layout, m: Member, say: Any) -> Table:
    s = laid.sizes
    return {
        "kind": "tenon", "cutter": s.cutters[2], "length": say(s.groove_depth - s.end_gap), "width": say(m.width),
        "thickness": say(s.groove - s.clearance), "note": "a stub that stands in the rails' panel groove",
    }  # fmt: skip


def _panel(laid: Layout, m: Member, say: Any) -> Iterator[_Step]:
    s, frame = laid.sizes, laid.frame
    crown: dict[str, str] = {}
    if len(m.outline) > 4:
        crown = {"crown": say(crown_of(m))}
        outline: Table = {"kind": "cut out", "cutter": s.cutters[4], **crown}
        yield _Step("outline", "outline", "flat", (outline,))
    deep = s.raise_depth(frame)
    if not deep:
        return
    border: Table = {"kind": "raise", "cutter": s.cutters[3], "width": say(s.border), "depth": say(deep)}
    if frame.panel == "raised":
        border |= {"rim": say(s.rim)} | ({"profile": "cove"} if frame.profile == "cove" else {})
    else:
        border |= {"step": say(deep)}
    note = "turned over for the other face" if frame.raised_faces == 2 else ""
    what = "raised" if frame.panel == "raised" else "flat border"
    yield _Step("faces", what, "flat", ({**border, **crown},), frame.raised_faces, bool(crown), note)


def crown_of(m: Member) -> float:
    """How high an arched panel's crown stands above its upper corners [mm].

    Parameters
    ----------
    m : Member
        The panel.
    """
    return float(m.outline[0, 1] + m.length - m.outline[2, 1])


# --- as text ----------------------------------------------------------------------------------------------------------


def as_job_text(expansion: Expansion) -> str:
    """The tables as TOML text, to be taken over in place of the frames and edited.

    Parameters
    ----------
    expansion : Expansion
        From ``expand``.

    Example
    -------
    >>> from shopcalc.shop import Shop
    >>> door = Frame(id="door", material="white-oak", width="20 in", height="30 in", thickness="7/8 in")
    >>> as_job_text(expand([door], Shop.open())).splitlines()[:3]
    ['[[parts]]', 'id = "door-stile"', 'title = "stile, door"']
    """
    lines: list[str] = []
    for name, tables in (("parts", expansion.parts), ("programs", expansion.programs), ("loads", expansion.loads)):
        for table in tables:
            lines += [f"[[{name}]]", *_lines(table)]
            for operation in table.get("operations", ()):
                lines += [f"[[{name}.operations]]", *_lines(operation)]
            lines.append("")
    return "\n".join(lines)


def _lines(table: Table) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in table.items() if key != "operations"]


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, str):
        safe = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in safe) + '"'
    return str(value)
