"""Controls of notebook 08 without a browser: their figures against the functions they show, faults by box, undo."""

import numpy as np
import pytest

from shopcalc.controls.both_faces import both_faces_control
from shopcalc.controls.clamps_picture import clamps_control, usual_clamps
from shopcalc.controls.faces import faces_control
from shopcalc.controls.heights_grid import HeightsGrid, read_height, rows_of, write_height
from shopcalc.errors import InputError
from shopcalc.holding import check_clear, clean_up, faces, grid
from shopcalc.jobs import open_job
from shopcalc.shop import Shop, demo_folder


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture
def form(shop):
    return faces_control(shop, "metric", material="white-oak", machine="router")


def test_what_is_typed_is_what_is_computed(form):
    first, second, faults = form.heights.readings()
    x, y = zip(*grid(900, 460, 5, 3, 20), strict=True)
    found = clean_up(faces(x, y, above=first, below=second), 27.0, skin=0.3)
    assert not faults
    assert form.found.plane == pytest.approx(found.plane)
    assert form.found.greatest == pytest.approx(found.greatest)
    drawn = np.array(form.faces_figure.data[0].z)
    assert drawn.shape == (3, 5)
    assert drawn.ravel() == pytest.approx(np.maximum(found.depth_a, 0))
    assert list(form.section_figure.data[0].y) == pytest.approx(list(np.array(first)[5:10]))


def test_units_there_and_back_change_nothing(form):
    before = form.heights.readings(), form.found.greatest
    texts = [b.value for row in form.heights.boxes[0] for b in row]
    for system in ("inch", "metric", "inch", "metric"):
        form.units.value = system
        assert form.heights.readings() == before[0]
    assert form.found.greatest == before[1]
    assert [b.value for row in form.heights.boxes[0] for b in row] == texts


def test_a_missed_place_is_crossed_and_named(form):
    form.wanted.value = 30
    assert not form.found.cleans_up
    crosses = sum(len(form.faces_figure.data[k].x) for k in (2, 5))
    assert crosses >= len(form.found.missed) > 0
    assert form.passes_table.value.count("<tr>") >= len(form.found.missed)
    form.greatest.value = True
    assert form.found.cleans_up


@pytest.mark.parametrize(
    ("grid_of", "text", "words"),
    [(0, "326", "no height of this board: look at its point and unit"), (0, "31 in", "no height of this board"),
     (0, "abc", "box A b2: 'abc'"), (0, "", "box A b2 is empty"), (1, "-1", "box B b2: -1 cannot be"),
     (1, "40", "boxes A b2 and B b2"), (0, "3 kg", "box A b2")],
)  # fmt: skip
def test_a_fault_names_its_box_and_undo_mends_it(form, grid_of, text, words):
    good = form.found.greatest
    form.heights.boxes[grid_of][1][1].value = text
    assert form.found is None
    assert words in form.faults[0]
    assert not len(form.section_figure.data[0].x)
    form.heights.take_back()
    assert form.found.greatest == good


def test_two_faults_are_told_together(form):
    form.heights.boxes[0][0][0].value = "x"
    form.heights.boxes[1][2][4].value = ""
    assert len(form.faults) == 2


def test_texts_of_either_system_are_lengths():
    assert read_height("31/32", "inch") == pytest.approx(24.60625)
    assert read_height("0,5", "metric") == 0.5
    assert read_height("1 in", "metric") == 25.4
    assert write_height(read_height("1.2283", "inch"), "inch") == "1.2283"


def test_a_pasted_table_takes_its_size_and_a_bad_one_is_refused():
    calls = []
    g = HeightsGrid([[20, 21], [20, 21]], [[0, 0], [0, 0]], "below", "metric", lambda: calls.append(1))
    g.paste.value = "20.5\t21\t22\n20\t1 in\t22"
    g.fill(0)
    assert (g.along.value, g.across.value) == (3, 2)
    assert g.readings()[0] == [20.5, 21, 22, 20, 25.4, 22]
    assert len(g.readings()[2]) == 2  # the new column of the second grid is empty
    g.take_back()
    assert (g.along.value, g.across.value) == (2, 2)
    g.paste.value = "1 2 3\n4 5"
    g.fill(0)
    assert "row 2 has 2 cells" in g.said.value
    assert len(calls) == 2
    with pytest.raises(InputError, match="more than"):
        rows_of("\n".join(["1 2 3 4 5 6 7"] * 2))


def test_orders_of_cuts_are_drawn_as_they_are_told(shop):
    c = both_faces_control(shop, "inch", material="white-oak", machine="router")
    assert list(c.figure.data[0].x) == pytest.approx([p.error.likely / 25.4 for p in c.plans])
    assert list(c.figure.layout.yaxis.ticktext) == [p.name for p in c.plans]
    for n in (c.faces, c.core):
        n.value = 0
    c.to.value = c.mean.value
    assert max(p.error.likely for p in c.plans) == pytest.approx(0, abs=1e-9)
    c.wanted.value = c.thickness.value + 1
    assert c.plans == ()
    assert "start from thicker" in c.answer.value


def test_a_clamp_slid_into_the_path_is_met_and_moved_out():
    job = open_job(demo_folder() / "jobs" / "reed-bed-chest.toml")
    own = clamps_control(job, "lid-lettering", "lid")
    assert [p.name for p in own.placed] == ["toggle 1", "toggle 2"]  # as the job file places them
    c = clamps_control(job, "lid-lettering", "lid", usual_clamps(job, "lid-lettering", "lid"))
    assert c.answer.value.count("✓")
    assert c.clear.clear
    c.x.value = 420
    same = check_clear(c.clear.moves, c.clear.bodies, [p.keep_out() for p in c.placed], margin=3.0)
    assert {k.keep_out for k in same.collisions} == {"left clamp"}
    assert c.clear.says() == same.says()
    assert [a.text[0] for a in c.figure.layout.annotations] == ["✗", "✓", "✓", "✓"]
    c.follow()
    assert c.clear.clear
    c.x.value = -100
    assert "beside the part" in c.remarks.value
    assert c.answer.value.count("✗")
    c.put_back()
    assert c.clear.clear
    assert c.x.value == c.placed[0].x
