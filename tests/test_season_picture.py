"""The picture of a panel through the year draws what its table says, and both what geometry says."""

import re

import pytest

from shopcalc.controls.season_picture import MONTHS, clearances_through, season_picture, season_table, season_view
from shopcalc.materials import read_materials
from shopcalc.seasons import Place, movement_of, read_climate
from shopcalc.shop import demo_folder

OAK = movement_of(read_materials()["white-oak"])
CLIMATE = read_climate(demo_folder())
HOUSE = CLIMATE.place("house")
BARN = Place("barn", "barn", 7.0, 13.0)


def test_the_year_is_that_of_the_place():
    through = clearances_through(300, 10, 4, OAK, HOUSE, 8)
    assert through.labels == MONTHS
    assert through.moisture == HOUSE.months
    between = clearances_through(300, 10, 4, OAK, BARN, 8)
    assert (between.moisture[0], between.moisture[-1]) == (7, 13)


def test_what_is_drawn_is_room_less_the_panel():
    """Worked by hand: 300 mm x .00365 (flat-sawn) and x .00180 (quarter-sawn) a point of moisture."""
    through = clearances_through(300, 10, 4, OAK, BARN, 8)
    picture = season_picture(through, "panel")
    high, low, likely = (list(t.y) for t in picture.data)
    for i, m in enumerate(through.moisture):
        ends = sorted(4 - 300 * c * (m - 8) for c in (0.0018, 0.00365))
        assert (low[i], high[i]) == pytest.approx(ends)
        assert likely[i] == pytest.approx(sum(ends) / 2)
    lines = [shape.y0 for shape in picture.layout.shapes]
    assert lines == pytest.approx([0, 14, 20, 4])
    assert [a.text for a in picture.layout.annotations] == [
        "jams below",
        "3.00 mm of tongue",
        "falls out above",
        "today",
    ]
    reach = picture.layout.yaxis.range
    assert reach[0] < min(0, *low)
    assert reach[1] > max(20, *high)


def test_bounds_are_told_apart_without_colour():
    picture = season_picture(clearances_through(300, 10, 4, OAK, HOUSE, 8), "panel")
    assert {s.line.dash for s in picture.layout.shapes} == {"solid", "dash", "dot"}


def test_inches_are_the_same_picture():
    through = clearances_through(300, 10, 4, OAK, HOUSE, 8)
    inch, metric = season_picture(through, "panel", "inch"), season_picture(through, "panel")
    assert [25.4 * y for y in inch.data[2].y] == pytest.approx(list(metric.data[2].y))
    assert "in" in inch.layout.yaxis.title.text


def test_the_table_says_what_the_picture_shows():
    through = clearances_through(300, 10, 4, OAK, BARN, 8)
    cells = re.findall(r"<td[^>]*>([^<]*)</td>", season_table(through, "panel"))
    assert len(cells) == 5 * len(through.labels)
    assert cells[-5:] == ["13.0 %", "-1.48 mm", "-0.09 mm", "1.30 mm", "jams"]
    monthly = re.findall(r"<th[^>]*>([^<]*)</th>", season_table(clearances_through(300, 10, 4, OAK, HOUSE, 8), "panel"))
    assert monthly[:2] == ["month", "moisture"]


@pytest.mark.parametrize(("clearance", "words"), [
    (-0.1, "jams"), (0.0, "fits"), (9.9, "fits"), (10.0, "can slide"), (14.1, "little tongue"), (20.0, "falls out"),
])  # fmt: skip
def test_words_for_a_clearance(clearance, words):
    assert clearances_through(300, 10, 4, OAK, HOUSE, 8).says(clearance).startswith(words)


def test_the_view_says_what_it_leaves_out():
    view = season_view(300, 10, 4, OAK, BARN, 5.0)
    picture, numbers, remark = view.children
    assert len(picture.data) == 3
    assert "table" in numbers.value
    assert "lags behind the air" in remark.value
    assert "lies outside the year" in remark.value
