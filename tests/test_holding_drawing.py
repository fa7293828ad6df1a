"""Pictures of holding: all inside the paper, every keep-out and every missed point on them."""

import datetime
import io

import numpy as np
import pypdf
import pytest

from shopcalc.cutters import Cutter
from shopcalc.documents import Document
from shopcalc.documents.drawing import Stroke, Words, as_svg
from shopcalc.documents.pdf import as_pdf
from shopcalc.holding.cleaning_up import clean_up, rough_board
from shopcalc.holding.collisions import check_clear
from shopcalc.holding.drawing import faces_drawing, holding_drawing, letters_of
from shopcalc.holding.keep_outs import box, cylinder
from shopcalc.holding.tool_body import tool_body
from shopcalc.holding.walls import Stock
from shopcalc.moves import Kind, from_lists

SQ = Cutter("SQ12", "", "square end", 12.0, 12.0, 2, 30.0, 80.0, 40.0)


def inside(d):
    for s in d.shapes:
        for x, y in s.points if isinstance(s, Stroke) else (s.at,):
            assert -0.01 <= x <= d.width + 0.01
            assert -0.01 <= y <= d.height + 0.01


@pytest.mark.parametrize("system", ["metric", "inch"])
def test_both_views_show_what_is_met(system):
    path = from_lists([(0, 0, 10), (0, 0, -4), (300, 0, -4), (300, 60, -4), (0, 60, 10)],
                      [Kind.RAPID, Kind.LINE, Kind.ARC, Kind.RAPID], feed=1,
                      arcs={2: ((300, 30, -4), np.pi, 0)})  # fmt: skip
    keeps = [box("clamp", 150, 20, 50, 40, bottom=-20, top=20, turn=0.3),
             cylinder("far bolt", 500, 200, 12, bottom=-20, top=0)]  # fmt: skip
    found = check_clear(path, tool_body(SQ), keeps)
    d = holding_drawing(found, Stock((0, 300), (-20, 80), 0, -20), system)
    inside(d)
    fills = [s.fill for s in d.shapes if isinstance(s, Stroke) and s.closed]
    assert (fills.count(0.25), fills.count(0.7)) == (2, 2)  # one met, one not, in two views
    assert sum(isinstance(s, Words) and s.text == "1" for s in d.shapes) == 2
    assert "clamp" in d.below
    assert "<svg" in as_svg(d)


def test_letters_stand_at_every_fixture_in_both_views_and_crosses_where_it_presses():
    path = from_lists([(10, 10, 5), (290, 10, 5), (290, 70, 5)], [Kind.LINE, Kind.LINE], feed=1)
    keeps = [box("strap", -40, 40, 100, 30, bottom=-20, top=20), cylinder("pin", 150, 86, 10, bottom=-20, top=-6),
             cylinder("pin 2", 150, -6, 10, bottom=-20, top=-6)]  # fmt: skip
    d = holding_drawing(check_clear(path, tool_body(SQ), keeps), Stock((0, 300), (0, 80), 0, -20), "metric", [(5, 40)])
    inside(d)
    words = {s.text: s.at for s in reversed(d.shapes) if isinstance(s, Words)}
    marks = [s.text for s in d.shapes if isinstance(s, Words)]
    assert [marks.count(k) for k in "ABC"] == [2, 1, 1]  # both pins lie behind each other from the front
    assert words["B, C"][0] == pytest.approx(words["C"][0])
    assert words["B"][1] < words["A"][1] < words["C"][1] < words["from the front"][1] < words["B, C"][1]
    assert "crosses: where fixtures press" in d.below
    bodies = [s for s in d.shapes if isinstance(s, Stroke) and s.fill == 0.7]
    strap = np.array(bodies[0].points)
    lines = [s for s in d.shapes if isinstance(s, Stroke) and s.width == 0.5 and len(s.points) == 2]
    crosses = [np.mean(s.points, axis=0) for s in lines]
    assert len(crosses) == 2
    assert strap[:, 0].min() < crosses[0][0] < strap[:, 0].max()
    assert list(letters_of([str(k) for k in range(28)]).values())[-3:] == ["Z", "A2", "B2"]


def test_a_clear_load_and_an_empty_one_are_drawn_too():
    clear = check_clear(from_lists([(0, 0, 0), (50, 0, 0)], [Kind.LINE], feed=1), tool_body(SQ), [])
    inside(holding_drawing(clear))
    assert "Every move is clear" in holding_drawing(clear).below
    inside(holding_drawing(check_clear(from_lists([(0, 0, 0)], []), tool_body(SQ), [])))


def test_missed_points_are_boxed_and_numbers_are_those_taken():
    found = clean_up(rough_board(800, 450, 32, cup=2.5, twist=3), 29.5)
    d = faces_drawing(found)
    inside(d)
    boxes = [s for s in d.shapes if isinstance(s, Stroke) and s.width == 0.9]
    assert len(boxes) == len(found.missed) > 0
    numbers = [s.text for s in d.shapes if isinstance(s, Words)]
    assert all(f"{v:.1f}" in numbers for v in found.depth_a if abs(v) > 0.01)
    pdf, notes = as_pdf(Document("Holding", "job", datetime.date(2026, 1, 1), (d, faces_drawing(found, "inch"))))
    assert not notes
    assert "plane A" in pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
