"""The drawing of a frame: well-formed, escaped, on the page, with every dimension in both systems."""

import itertools
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from shopcalc.frames import Frame, layout
from shopcalc.frames.drafting import Sheet
from shopcalc.frames.drawing import describe, panel_profile, svg
from shopcalc.shop import Shop
from shopcalc.units import write

SHOP = Shop.open()
BASE = {"id": "f", "material": "white-oak", "width": "20 in", "height": "30 in", "thickness": "7/8 in"}
FRAMES = {
    "single panel": {},
    "three rails and muntins": {"width": "42 in", "height": "60 in", "stile": "4 in", "middle_rails": 1,
                                "muntins": [2, 1], "joint": "haunched", "bottom_rail": "6 in"},
    "arched": {"arch": "2 3/4 in", "top_rail": "6 in", "raised_faces": 2, "profile": "cove", "joint": "stepped"},
    "paired": {"width": "36 in", "height": "47 in", "thickness": "1 3/8 in", "stile": "4 in", "joint": "paired",
               "bottom_rail": "8 in", "top_rail": "6 in", "middle_rails": 1, "panel": "flat",
               "panel_thickness": "5/8 in", "foot": "1 1/2 in", "corners": "squared"},
}  # fmt: skip
NS = "{http://www.w3.org/2000/svg}"


def drawn(name, system, **more):
    laid = layout(Frame.model_validate(BASE | FRAMES[name] | more), SHOP)
    return laid, ET.fromstring(svg(laid, system))


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("name", FRAMES)
def test_everything_lies_on_the_page_and_nothing_is_coloured(name, system):
    _, root = drawn(name, system)
    page = [float(v) for v in root.get("viewBox").split()]
    assert page == ([0, 0, 215.9, 279.4] if system == "inch" else [0, 0, 210, 297])
    sheet = Sheet(system, "", "")
    boxes = []
    for e in root.iter(f"{NS}polygon"):
        points = np.array([p.split(",") for p in e.get("points").split()], dtype=float)
        assert (points > 0).all()
        assert (points < page[2:]).all()
    for e in root.iter(f"{NS}text"):
        height = float(e.get("font-size")) * 0.72
        assert height > 2.5  # mm on paper
        wide, x, y = sheet.wide(e.text, height), float(e.get("x")), float(e.get("y"))
        left = x - {"start": 0, "middle": wide / 2, "end": wide}[e.get("text-anchor")]
        turned = "transform" in e.attrib
        box = (x - height, y - (left + wide - x), x, y + (x - left)) if turned else (left, y - height, left + wide, y)
        assert box[0] > 0, e.text
        assert box[1] > 0, e.text
        assert box[2] < page[2], e.text
        assert box[3] < page[3], e.text
        boxes.append((e.text, box))
    for (a, p), (b, q) in itertools.combinations(boxes, 2):  # no lettering over other lettering
        over = min(p[2], q[2]) - max(p[0], q[0]), min(p[3], q[3]) - max(p[1], q[1])
        assert min(over) < 1.0, (a, b)
    colours = set(re.findall(r"(?:stroke|fill)[=:]\"?([#\w]+)", ET.tostring(root, encoding="unicode")))
    assert colours <= {"black", "white", "none", "url", "stroke"}


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("name", FRAMES)
def test_every_size_that_makes_the_frame_is_written(name, system):
    laid, root = drawn(name, system)
    texts = [e.text for e in root.iter(f"{NS}text")]
    s, f = laid.sizes, laid.frame
    sizes = [f.width, f.height, f.thickness, s.stile, *s.rails, s.panel_thickness, s.mortise_depth]
    joint = max(reversed(laid.joints), key=lambda j: {"plain": 0, "stepped": 1, "haunched": 2, "paired": 3}[j.style])
    sizes += [joint.mortises[0][1] - joint.mortises[0][0], joint.tenon.thickness]
    sizes += [f.arch] if f.arch else []
    for value in sizes:
        shown = write(round(value, 6), "length", system).rsplit(" ", 1)[0]
        assert shown in texts, (value, shown)
    for m in laid.members:
        if m.role == "panel":
            shown = " × ".join(write(round(v, 6), "length", system).rsplit(" ", 1)[0] for v in (m.length, m.width))
            assert shown in texts
    assert any("inches" in t if system == "inch" else "millimetres" in t for t in texts)


def test_lettering_of_people_is_escaped_and_the_alternative_text_says_what_is_seen():
    laid, root = drawn("three rails and muntins", "inch", title='<b> & "door"', note="mind the <cat>")
    texts = [e.text for e in root.iter(f"{NS}text")]
    assert '<b> & "door"' in texts
    assert "mind the <cat>" in texts
    assert root.find(f"{NS}title").text == '<b> & "door"'
    assert root.get("role") == "img"
    said = root.find(f"{NS}desc").text
    assert said == describe(laid, "inch")
    assert "3 rails, 3 muntins and 5 raised panels" in said
    assert "42 in by 60 in by 7/8 in" in said


@pytest.mark.parametrize("name", FRAMES)
def test_outlines_are_drawn_to_scale(name):
    """The outer corners on paper are as far apart as the frame's, in one scale both ways."""
    laid, root = drawn(name, "metric")
    rings = [
        np.array([p.split(",") for p in e.get("points").split()], dtype=float)
        for e in root.iter(f"{NS}polygon") if e.get("class") == "seen"
    ]  # fmt: skip
    stiles = rings[:2]
    corners = np.vstack(stiles)
    size = corners.max(axis=0) - corners.min(axis=0)
    assert size[0] / laid.frame.width == pytest.approx(size[1] / laid.frame.height, rel=2e-3)


def test_the_section_shows_the_panel_within_its_groove():
    for name in FRAMES:
        laid = layout(Frame.model_validate(BASE | FRAMES[name]), SHOP)
        s, f = laid.sizes, laid.frame
        front, back = (np.array(v) for v in panel_profile(laid, 80.0))
        low, high = (f.thickness - s.groove) / 2, (f.thickness + s.groove) / 2
        inside = front[:, 0] <= s.groove_depth
        assert (front[inside, 1] < high).all()
        assert (back[inside, 1] > low).all()
        assert front[-1, 1] - back[-1, 1] == pytest.approx(s.panel_thickness)
        assert front[0, 1] - back[0, 1] == pytest.approx(s.tongue)
        if f.panel == "raised" and f.raised_faces == 1:
            assert front[-1, 1] == pytest.approx(f.thickness, abs=0.2)  # flush with the frame's face
