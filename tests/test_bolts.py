"""Bolts for both faces: mirrored, clear of every sample of both programs; the template's print at full size."""

import datetime
import io
import re

import numpy as np
import pypdf
import pytest

from shopcalc.cutters import Cutter
from shopcalc.documents import Document
from shopcalc.documents.pdf import as_pdf
from shopcalc.errors import InputError
from shopcalc.holding.bolts import bolt_pattern, drill_template
from shopcalc.holding.fixtures import Fixture
from shopcalc.holding.tool_body import tool_body
from shopcalc.paths import Cutting, face, sink

M8 = Fixture("m8", "", "bolt", force=2500.0, diameter=16.0, height=6.0)
SQ = Cutter("SQ12", "", "square end", 12.0, 12.0, 2, 30.0, 80.0, 40.0)
CUT = Cutting(SQ, 5000, 1500, 16000, depth_per_pass=6)
BODY = tool_body(SQ, None)
LONG, WIDE = 460.0, 310.0


def programs():
    one = sink(CUT, [(60, 60), (200, 60), (200, 250), (60, 250)], depth=5)
    other = sink(CUT, [(220, 90), (400, 90), (400, 160), (220, 160)], depth=8)
    return (one, BODY), (other, BODY)


@pytest.mark.parametrize("about", ["x", "y"])
def test_bolts_are_mirrored_and_no_sample_of_a_path_comes_near(about):
    found = bolt_pattern(*programs(), LONG, WIDE, 25.0, M8, about=about, pairs=3, margin=3.0)
    axis, size = (1, WIDE) if about == "x" else (0, LONG)
    image = found.places.copy()
    image[:, axis] = size - image[:, axis]
    assert {tuple(p) for p in found.places.tolist()} == {tuple(p) for p in image.tolist()}
    assert len(found.places) == 6
    assert (found.places >= 15 - 1e-9).all()
    assert (found.places <= np.array([LONG, WIDE]) - 15 + 1e-9).all()
    for moves, _ in programs():
        ends = [np.linspace(a, b, 200) for a, b in zip(moves.points[:-1], moves.points[1:], strict=True)]
        at = np.concatenate(ends)
        at = at[at[:, 2] < M8.height + 3]
        room = np.hypot(*(at[:, None, :2] - found.places[None]).transpose(2, 0, 1)).min() - 6 - 8
        assert room > 3 - 0.5  # lines of a path that holds arcs are chords here
    assert "6 bolts" in found.says()[0]


def test_where_everything_is_cut_no_bolt_finds_room():
    all_over = (face(CUT, LONG, WIDE, depth=2), BODY)
    with pytest.raises(InputError, match="no pair of places"):
        bolt_pattern(all_over, programs()[1], LONG, WIDE, 25.0, M8)
    with pytest.raises(InputError, match="not turned about"):
        bolt_pattern(*programs(), LONG, WIDE, 25.0, M8, about="z")
    with pytest.raises(InputError, match="not round"):
        bolt_pattern(*programs(), LONG, WIDE, 25.0, Fixture("s", "", "clamp"))
    with pytest.raises(InputError, match="places"):
        bolt_pattern(*programs(), LONG, WIDE, 25.0, M8, grid=0.5)


def lines_of(page):
    """Ends of the straight lines a page draws, in points."""
    data = page.get_contents().get_data().decode("latin-1")
    number = r"(-?[\d.]+)"
    return [tuple(map(float, m)) for m in re.findall(rf"{number} {number} m {number} {number} l", data)]


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_template_prints_at_full_size(paper):
    """On every page 100 mm across and along; two bolts on one page are as far apart on paper as on the blank."""
    found = bolt_pattern(*programs(), LONG, WIDE, 25.0, M8, pairs=2)
    blocks = drill_template(found, 8.0)
    pdf, notes = as_pdf(Document("Drill template", "job", datetime.date(2026, 1, 1), blocks), paper)
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert not notes
    assert len(pages) == 3 * 2  # 450 / 150 by 300 / 190: the lap shows the last 10 mm
    crosses = 0
    for page in pages:
        long = [abs(a[2] - a[0]) for a in lines_of(page) if abs(a[3] - a[1]) < 0.01]
        assert any(v == pytest.approx(100 / 25.4 * 72, abs=0.05) for v in long)
        crosses += sum(v == pytest.approx(16 / 25.4 * 72, abs=0.02) for v in long)
        tall = [abs(a[3] - a[1]) for a in lines_of(page) if abs(a[2] - a[0]) < 0.01]
        assert any(v == pytest.approx(100 / 25.4 * 72, abs=0.05) for v in tall)
        assert "both marks are 100 mm long" in page.extract_text().replace("\n", " ")
    assert crosses >= len(found.places)
    assert re.search(r"[Pp]rint at 100", polished(pages[0]))


def polished(page):
    return " ".join(page.extract_text().split())
