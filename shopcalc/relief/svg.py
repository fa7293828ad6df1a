"""SVG drawings as shapes in millimetres: transforms, groups, symbols, use, viewBox, units, style sheets of one word."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn
from xml.etree import ElementTree

import numpy as np

from shopcalc.errors import Fault, InputError
from shopcalc.moves import Floats
from shopcalc.reading import read_file
from shopcalc.relief.curves import UNMOVED, Affine, Bezier, EllipseArc, Rule, Segment, Shape, Stroke

_SPACE = "{http://www.w3.org/2000/svg}"
_HREF = ("href", "{http://www.w3.org/1999/xlink}href")
#: Millimetres a unit; a px is 1/96 in by the CSS recommendation.
_UNITS = {"": 25.4 / 96, "px": 25.4 / 96, "mm": 1.0, "cm": 10.0, "q": 0.25, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6}
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_MOST_ELEMENTS = 50_000
_HIDDEN = {"defs", "symbol", "clipPath", "mask", "pattern", "marker", "linearGradient", "radialGradient", "metadata",
           "title", "desc", "style", "script", "filter", "font", "cursor", "view", "animate", "set",
           "animateTransform", "animateMotion"}  # fmt: skip
_INHERITED = ("fill", "stroke", "fill-rule", "visibility", "color")
_SHAPES = {"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"}


@dataclass
class _State:
    path: str
    ids: dict[str, ElementTree.Element] = field(default_factory=dict)
    styles: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    shapes: list[Shape] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    ignored: dict[str, int] = field(default_factory=dict)
    seen: int = 0


@dataclass(frozen=True)
class _Port:
    """Size of the viewport in user units, for percentages."""

    width: float
    height: float


def read_svg(path: Path | str) -> tuple[list[Shape], list[str], list[str]]:
    """Shapes of an SVG drawing in millimetres with y up, its texts that are no outlines, and notes.

    Parameters
    ----------
    path : Path or str
        The file.

    Raises
    ------
    InputError
        When it is no SVG, or something in it cannot be drawn; all such elements are named together.

    Notes
    -----
    Source: W3C, Scalable Vector Graphics (SVG) 1.1 (second edition), chapters 7 to 9; CSS Values and Units for lengths
    (from memory of their text).
    """
    text = read_file(path, "an SVG drawing")
    state = _State(str(path))
    if re.search(r"<!ENTITY", text):
        _refuse(state, "it defines XML entities, which are not read", "save it as plain SVG from the drawing program")
    try:
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, ValueError, RecursionError) as error:
        line, column = getattr(error, "position", (None, None))
        column = None if column is None else column + 1
        message, remedy = f"this is not well-formed XML ({str(error).split(':')[0]})", "export the drawing once more"
        raise InputError(Fault(message, remedy, file=str(path), line=line, column=column)) from None
    if _tag(root) != "svg":
        _refuse(state, f"its first element is <{_tag(root) or root.tag}>, not <svg>", "export the drawing as SVG")
    for element in root.iter():
        if "id" in element.attrib:
            state.ids.setdefault(element.attrib["id"], element)
        if _tag(element) == "style":
            _add_styles(state, "".join(element.itertext()))
    matrix, port = _page(state, root)
    style = {"fill": "black", "stroke": "none", "fill-rule": "nonzero", "visibility": "visible"}
    _children(state, root, matrix, _styled(state, root, style), port, ())
    if state.faults:
        raise InputError(state.faults)
    for what, count in state.ignored.items():
        state.notes.append(f"{count} x {what}")
    return state.shapes, state.texts, state.notes


def _refuse(state: _State, message: str, remedy: str) -> NoReturn:
    raise InputError(Fault(message, remedy, file=state.path))


def _fault(state: _State, element: ElementTree.Element, message: str, remedy: str) -> None:
    state.faults.append(Fault(f"{_name(element)}: {message}", remedy, file=state.path))


def _tag(element: ElementTree.Element) -> str:
    tag = element.tag
    if not isinstance(tag, str):
        return ""
    if tag.startswith(_SPACE):
        return tag[len(_SPACE) :]
    return "" if tag.startswith("{") else tag


def _name(element: ElementTree.Element) -> str:
    label = element.attrib.get("id")
    return f"{_tag(element)} '{label}'" if label else _tag(element)


# --- lengths, transforms, style ---------------------------------------------------------------------------------------


def _length(state: _State, element: ElementTree.Element, key: str, whole: float, default: float = 0.0) -> float:
    """A length attribute in user units."""
    text = element.attrib.get(key, "").strip()
    if not text or text == "auto":
        return default
    found = re.fullmatch(rf"({_NUMBER})\s*([a-zA-Z%]*)", text)
    unit = found[2].lower() if found else ""
    if found is None or (unit != "%" and unit not in _UNITS) or not math.isfinite(float(found[1])):
        _fault(state, element, f"{key} = '{text}' is no length", "use a number, or one with mm, in, pt, px or %")
        return default
    value = float(found[1])
    return value * whole / 100 if unit == "%" else value * _UNITS[unit] / _UNITS[""]


def _transform(state: _State, element: ElementTree.Element) -> Affine:
    text = element.attrib.get("transform", "")
    out = UNMOVED
    if not text:
        return out
    rest = text
    for found in re.finditer(r"(\w+)\s*\(([^()]*)\)", text):
        rest = rest.replace(found[0], " ", 1)
        words = [w for w in re.split(r"[\s,]+", found[2].strip()) if w]
        numbers = [float(w) for w in words if re.fullmatch(_NUMBER, w)]
        one = _one_transform(found[1], numbers) if len(numbers) == len(words) else None
        if one is None or not np.isfinite([*one.matrix.ravel(), *one.shift]).all():
            _fault(state, element, f"transform '{found[0]}' is not understood", "export the drawing once more")
            return UNMOVED
        out = out.after(one)
    if rest.strip(" ,\t\r\n"):
        _fault(state, element, f"transform '{text[:60]}' is not understood", "export the drawing once more")
    return out


def _one_transform(word: str, n: list[float]) -> Affine | None:
    if word == "matrix" and len(n) == 6:
        return Affine.of(*n)
    if word == "translate" and len(n) in (1, 2):
        return Affine.of(1, 0, 0, 1, n[0], n[1] if len(n) == 2 else 0)
    if word == "scale" and len(n) in (1, 2):
        return Affine.of(n[0], 0, 0, n[-1], 0, 0)
    if word == "rotate" and len(n) in (1, 3):
        cos, sin = math.cos(math.radians(n[0])), math.sin(math.radians(n[0]))
        turn = Affine.of(cos, sin, -sin, cos, 0, 0)
        if len(n) == 1:
            return turn
        there, back = Affine.of(1, 0, 0, 1, n[1], n[2]), Affine.of(1, 0, 0, 1, -n[1], -n[2])
        return there.after(turn).after(back)
    if word == "skewX" and len(n) == 1:
        return Affine.of(1, 0, math.tan(math.radians(n[0])), 1, 0, 0)
    if word == "skewY" and len(n) == 1:
        return Affine.of(1, math.tan(math.radians(n[0])), 0, 1, 0, 0)
    return None


def _declared(text: str) -> dict[str, str]:
    pairs = (part.split(":", 1) for part in text.split(";") if ":" in part)
    return {key.strip(): value.replace("!important", "").strip() for key, value in pairs}


def _add_styles(state: _State, text: str) -> None:
    """Rules whose selectors are one word: tag, .class, #id, tag.class, *; others are named."""
    text = re.sub(r"/\*.*?\*/|<!\[CDATA\[|\]\]>", "", text, flags=re.S)
    for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", text):
        for selector in (s.strip() for s in selectors.split(",")):
            if re.fullmatch(r"\*|[\w-]*(?:[.#][\w-]+)?", selector) and selector:
                state.styles.append((selector, _declared(body)))
            elif not selector.startswith("@"):
                state.ignored[f"style rule '{selector[:40]}' is not applied"] = 1


def _styled(state: _State, element: ElementTree.Element, inherited: dict[str, str]) -> dict[str, str]:
    """Style of an element: inherited, its attributes, style sheets, its own style (in rising order)."""
    out = {key: inherited[key] for key in _INHERITED if key in inherited}
    own = {k: element.attrib[k].strip() for k in (*_INHERITED, "display") if k in element.attrib}
    if not state.styles:
        own |= _declared(element.attrib.get("style", ""))
        out |= {k: v for k, v in own.items() if v != "inherit"}
        return out
    tag, classes, name = _tag(element), element.attrib.get("class", "").split(), element.attrib.get("id")
    matches = (
        {"*": 0, tag: 1} | {f"{t}.{c}": 2 for c in classes for t in ("", tag)} | {f"{t}#{name}": 3 for t in ("", tag)}
    )
    for _, declared in sorted(((s, d) for s, d in state.styles if s in matches), key=lambda pair: matches[pair[0]]):
        own |= declared
    own |= _declared(element.attrib.get("style", ""))
    out |= {k: v for k, v in own.items() if v != "inherit"}
    return out


# --- walking ----------------------------------------------------------------------------------------------------------


def _view_box(state: _State, element: ElementTree.Element) -> tuple[float, float, float, float] | None:
    text = element.attrib.get("viewBox")
    if text is None:
        return None
    try:
        x, y, w, h = (float(v) for v in re.split(r"[\s,]+", text.strip()))
    except ValueError:
        x, y, w, h = 0, 0, math.nan, math.nan
    if not (math.isfinite(x) and math.isfinite(y) and 0 < w < math.inf and 0 < h < math.inf):
        _fault(state, element, f"viewBox '{text}' is no box", "give four numbers, width and height above 0")
        return None
    return x, y, w, h


def _fitted(
    element: ElementTree.Element, box: tuple[float, float, float, float], width: float, height: float
) -> Affine:
    """A viewBox laid into a viewport as preserveAspectRatio says."""
    x, y, w, h = box
    sx, sy = width / w, height / h
    words = element.attrib.get("preserveAspectRatio", "xMidYMid meet").split()
    if "none" not in words:
        sx = sy = max(sx, sy) if "slice" in words else min(sx, sy)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    align = next((re.fullmatch(r"x(M\w\w)Y(M\w\w)", word) for word in words if word.startswith("x")), None)
    ax, ay = (share.get(align[1], 0.5), share.get(align[2], 0.5)) if align else (0.5, 0.5)
    return Affine.of(sx, 0, 0, sy, ax * (width - w * sx) - x * sx, ay * (height - h * sy) - y * sy)


def _page(state: _State, root: ElementTree.Element) -> tuple[Affine, _Port]:
    """From the outermost user units to millimetres with y up."""
    box = _view_box(state, root)
    told = [root.attrib.get(k, "").strip() for k in ("width", "height")]
    sized = [bool(t) and not t.endswith("%") and t != "auto" for t in told]
    width, height = (
        _length(state, root, key, 0.0) if has else None for key, has in zip(("width", "height"), sized, strict=True)
    )
    if box is not None:
        if width is None:
            width = box[2] if height is None else height * box[2] / box[3]
        if height is None:
            height = width * box[3] / box[2]
        fit = _fitted(root, box, width, height) if width > 0 and height > 0 else UNMOVED
        port = _Port(box[2], box[3])
    else:
        fit, port = UNMOVED, _Port(width or 0.0, height or 0.0)
    if not any(sized) or not any(re.search(r"(mm|cm|in|pt|pc|q)$", t.lower()) for t in told):
        state.notes.append(
            "the drawing names no unit: one px is taken as 1/96 in (0.2646 mm); give the length if wrong"
        )
    px = _UNITS[""]
    return Affine.of(px, 0, 0, -px, 0, 0).after(fit), port


def _children(
    state: _State,
    parent: ElementTree.Element,
    matrix: Affine,
    style: dict[str, str],
    port: _Port,
    trail: tuple[str, ...],
) -> None:
    for element in parent:
        _visit(state, element, matrix, style, port, trail)


def _visit(
    state: _State,
    element: ElementTree.Element,
    matrix: Affine,
    style: dict[str, str],
    port: _Port,
    trail: tuple[str, ...],
) -> None:
    tag = _tag(element)
    if not tag or tag in _HIDDEN:
        return
    state.seen += 1
    if state.seen > _MOST_ELEMENTS or len(trail) > 60:
        _refuse(state, f"more than {_MOST_ELEMENTS} elements, or 'use' nested too deep", "simplify the drawing")
    style = _styled(state, element, style)
    if style.get("display") == "none":
        state.ignored["hidden element(s) left out"] = state.ignored.get("hidden element(s) left out", 0) + 1
        return
    for what in ("clip-path", "mask", "filter"):
        if element.attrib.get(what, style.get(what, "none")) != "none":
            key = f"{what} is not applied: cut the shapes in the drawing program"
            state.ignored[key] = state.ignored.get(key, 0) + 1
    if "transform" in element.attrib:
        matrix = matrix.after(_transform(state, element))
    if tag in _SHAPES:
        _shape(state, element, tag, matrix, style, port)
    elif tag in ("g", "a", "switch"):
        _children(state, element, matrix, style, port, trail)
    elif tag == "svg":
        _inner_page(state, element, matrix, style, port, trail, None)
    elif tag == "use":
        _use(state, element, matrix, style, port, trail)
    elif tag in ("text", "flowRoot"):
        state.texts.append(" ".join("".join(element.itertext()).split()))
    else:
        key = f"<{tag}> is not read"
        state.ignored[key] = state.ignored.get(key, 0) + 1


def _use(
    state: _State,
    element: ElementTree.Element,
    matrix: Affine,
    style: dict[str, str],
    port: _Port,
    trail: tuple[str, ...],
) -> None:
    link = next((element.attrib[k] for k in _HREF if k in element.attrib), "")
    target = state.ids.get(link[1:]) if link.startswith("#") else None
    if target is None:
        _fault(state, element, f"it points to '{link}', which is not in the file", "export the drawing once more")
        return
    if link in trail:
        _fault(state, element, f"it points to itself by way of '{link}'", "export the drawing once more")
        return
    x, y = _length(state, element, "x", port.width), _length(state, element, "y", port.height)
    trail = (*trail, link)
    if x or y:
        matrix = matrix.after(Affine.of(1, 0, 0, 1, x, y))
    if _tag(target) in ("symbol", "svg"):
        _inner_page(state, target, matrix, _styled(state, target, style), port, trail, element)
    else:
        _visit(state, target, matrix, style, port, trail)


def _inner_page(
    state: _State,
    element: ElementTree.Element,
    matrix: Affine,
    style: dict[str, str],
    port: _Port,
    trail: tuple[str, ...],
    used: ElementTree.Element | None,
) -> None:
    """An inner <svg> or a used <symbol>: a page of its own."""
    sized = element if used is None else used
    width, height = (
        _length(state, sized if key in sized.attrib else element, key, whole, whole)
        for key, whole in (("width", port.width), ("height", port.height))
    )
    if _tag(element) == "svg":
        x, y = _length(state, element, "x", port.width), _length(state, element, "y", port.height)
        matrix = matrix.after(Affine.of(1, 0, 0, 1, x, y))
    box = _view_box(state, element)
    if box is not None and width > 0 and height > 0:
        matrix, port = matrix.after(_fitted(element, box, width, height)), _Port(box[2], box[3])
    else:
        port = _Port(width, height)
    _children(state, element, matrix, style, port, trail)


# --- shapes -----------------------------------------------------------------------------------------------------------


def _shape(
    state: _State, element: ElementTree.Element, tag: str, matrix: Affine, style: dict[str, str], port: _Port
) -> None:
    filled, stroked = style.get("fill", "black") != "none", style.get("stroke", "none") != "none"
    if style.get("visibility") in ("hidden", "collapse") or not (filled or stroked):
        key = "invisible shape(s) left out (neither filled nor stroked, or hidden)"
        state.ignored[key] = state.ignored.get(key, 0) + 1
        return
    try:
        strokes = _strokes(state, element, tag, port)
    except ValueError as error:
        _fault(state, element, f"its {'d' if tag == 'path' else 'points'} cannot be read ({error})", "export it anew")
        return
    strokes = tuple(s.moved(matrix) for s in strokes if s.segments)
    if not strokes:
        return
    rule: Rule | None = ("evenodd" if style.get("fill-rule") == "evenodd" else "nonzero") if filled else None
    if tag == "line":
        rule = None
    state.shapes.append(Shape(_name(element), strokes, rule))


def _strokes(state: _State, element: ElementTree.Element, tag: str, port: _Port) -> tuple[Stroke, ...]:
    w, h, diagonal = port.width, port.height, math.hypot(port.width, port.height) / math.sqrt(2)

    def size(key: str, whole: float, default: float = 0.0) -> float:
        return _length(state, element, key, whole, default)

    if tag == "path":
        return _path(element.attrib.get("d", ""))
    if tag in ("polyline", "polygon"):
        words = [v for v in re.split(r"[\s,]+", element.attrib.get("points", "").strip()) if v]
        points = np.array([float(v) for v in words])
        if len(points) % 2 or not np.isfinite(points).all():
            raise ValueError("an odd number of numbers, or one that is none")
        return _lines(points.reshape(-1, 2), tag == "polygon")
    if tag == "line":
        ends = [[size("x1", w), size("y1", h)], [size("x2", w), size("y2", h)]]
        return _lines(np.array(ends), False)
    if tag == "rect":
        return _rect(
            size("x", w), size("y", h), size("width", w), size("height", h), size("rx", w, -1.0), size("ry", h, -1.0)
        )
    rx, ry = (size("r", diagonal),) * 2 if tag == "circle" else (size("rx", w), size("ry", h))
    if rx <= 0 or ry <= 0:
        return ()
    centre = np.array([size("cx", w), size("cy", h)])
    return (Stroke((EllipseArc(centre, np.array([rx, 0.0]), np.array([0.0, ry]), 0.0, 2 * math.pi),), True),)


def _lines(points: Floats, closed: bool) -> tuple[Stroke, ...]:
    if len(points) < 2:
        return ()
    ends = [points[i : i + 2] for i in range(len(points) - 1)]
    if closed:
        ends.append(np.array([points[-1], points[0]]))
    return (Stroke(tuple(Bezier(np.asarray(e)) for e in ends), closed),)


def _rect(x: float, y: float, w: float, h: float, rx: float, ry: float) -> tuple[Stroke, ...]:
    if w <= 0 or h <= 0:
        return ()
    rx, ry = (ry if rx < 0 else rx), (rx if ry < 0 else ry)
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    if rx == 0 or ry == 0:
        return _lines(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]), True)
    segments: list[Segment] = []
    corners = [(x + w - rx, y + ry), (x + w - rx, y + h - ry), (x + rx, y + h - ry), (x + rx, y + ry)]
    half = (np.array([rx, 0.0]), np.array([0.0, ry]))
    arcs = [EllipseArc(np.array(c), *half, (i - 1) * math.pi / 2, i * math.pi / 2) for i, c in enumerate(corners)]
    for i, arc in enumerate(arcs):
        after = arcs[(i + 1) % 4]
        segments.append(arc)
        end = arc.centre + arc.u * math.cos(arc.end) + arc.v * math.sin(arc.end)
        start = after.centre + after.u * math.cos(after.start) + after.v * math.sin(after.start)
        if not np.allclose(end, start, rtol=0, atol=1e-12 * (w + h)):
            segments.append(Bezier(np.array([end, start])))
    return (Stroke(tuple(segments), True),)


#: Numbers each command of path data takes; flags of an arc are single digits that may stand without a space.
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


def _commands(text: str) -> Iterator[tuple[str, list[float]]]:
    """Commands of path data with their numbers, repeated ones spelled out."""
    at, command = 0, ""
    blank = re.compile(r"[\s,]*")
    number, flag = re.compile(_NUMBER), re.compile("[01]")
    while (at := blank.match(text, at).end()) < len(text):  # type: ignore[union-attr]
        if text[at].upper() in _TAKES:
            command, at = text[at], at + 1
        elif command in ("", "Z", "z") or text[at].isalpha():
            raise ValueError(f"'{text[at : at + 12]}' is no command")
        values: list[float] = []
        for k in range(_TAKES[command.upper()]):
            at = blank.match(text, at).end()  # type: ignore[union-attr]
            found = (flag if command in "Aa" and k in (3, 4) else number).match(text, at)
            if found is None or not math.isfinite(float(found[0])):
                raise ValueError(f"'{command}' wants {_TAKES[command.upper()]} numbers, at '{text[at : at + 12]}'")
            values.append(float(found[0]))
            at = found.end()
        yield command, values
        command = {"M": "L", "m": "l"}.get(command, command)


def _path(text: str) -> tuple[Stroke, ...]:
    """Strokes of a path's data, curves kept."""
    out: list[Stroke] = []
    segments: list[Segment] = []
    start = now = np.zeros(2)
    mirror, mirrored = now, ""  # last control point, and the kind of curve it belongs to

    def end(closed: bool) -> None:
        nonlocal segments
        if segments:
            out.append(Stroke(tuple(segments), closed))
        segments = []

    for number, (command, values) in enumerate(_commands(text)):
        kind = command.upper()
        if number == 0 and kind != "M":
            raise ValueError("it does not begin with M")
        here = now if command.islower() else np.zeros(2)
        if kind == "M":
            end(False)
            start = now = here + values
        elif kind == "Z":
            if (now != start).any():
                segments.append(Bezier(np.array([now, start])))
            end(True)
            now = start
        else:
            if kind == "H":
                points = [np.array([here[0] + values[0], now[1]])]
            elif kind == "V":
                points = [np.array([now[0], here[1] + values[0]])]
            elif kind == "A":
                points = [here + values[5:]]
            else:
                points = [here + pair for pair in np.reshape(values, (-1, 2))]
            if kind in "ST":  # the control point before, mirrored; where there was none, the point itself
                points.insert(0, 2 * now - mirror if mirrored == {"S": "C", "T": "Q"}[kind] else now)
            segment: Segment = _arc(now, points[0], values) if kind == "A" else Bezier(np.array([now, *points]))
            segments.append(segment)
            mirror, mirrored, now = (
                points[-2] if len(points) > 1 else now,
                {"S": "C", "T": "Q"}.get(kind, kind),
                points[-1],
            )
            continue
        mirrored = ""
    end(False)
    return tuple(out)


def _arc(first: Floats, last: Floats, values: list[float]) -> Segment:
    """From the ends, radii and flags to the centre (SVG 1.1, appendix F.6)."""
    rx, ry, turned = abs(values[0]), abs(values[1]), math.radians(values[2])
    large, positive = bool(values[3]), bool(values[4])
    if rx == 0 or ry == 0 or (first == last).all():
        return Bezier(np.array([first, last]))
    cos, sin = math.cos(turned), math.sin(turned)
    axes = np.array([[rx * cos, -ry * sin], [rx * sin, ry * cos]])  # columns: both half axes
    half = np.linalg.solve(axes, (first - last) / 2)  # in this frame the ellipse is a circle of radius 1
    reach = float(half @ half)
    if reach > 1:  # too small for its ends: made as large as needed
        axes = axes * math.sqrt(reach)
        half, reach = half / math.sqrt(reach), 1.0
    offset = math.sqrt(max(0.0, 1 / reach - 1)) * (1 if large != positive else -1)
    middle = offset * np.array([half[1], -half[0]])
    begin, stop = half - middle, -half - middle
    t0, t1 = math.atan2(begin[1], begin[0]), math.atan2(stop[1], stop[0])
    sweep = (t1 - t0) % (2 * math.pi) if positive else -((t0 - t1) % (2 * math.pi))
    centre = axes @ middle + (first + last) / 2
    return EllipseArc(centre, axes[:, 0], axes[:, 1], t0, t0 + sweep)
