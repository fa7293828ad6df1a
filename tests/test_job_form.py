"""The form and the frame's sliders, driven as a person does: what is typed, what is refused, what the file says."""

import tomllib

import pytest

from shopcalc.controls import days_view, fits_view, frame_to_hours, job_form, panel_view, quantities_view
from shopcalc.controls.outcome import frame_drawing
from shopcalc.controls.record_fields import meanings
from shopcalc.frames import Frame
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.records import OPERATION_RECORDS, Hardware, Heading, Load, Part, Program
from shopcalc.jobs.tasks import schedule_job
from shopcalc.quote import price
from shopcalc.shop import Shop, demo_folder

SHOP = Shop.open()


def copied(tmp_path, name):
    path = tmp_path / f"{name}.toml"
    path.write_bytes((demo_folder() / "jobs" / f"{name}.toml").read_bytes())
    return path


@pytest.fixture
def door(tmp_path):
    return copied(tmp_path, "pantry-door")


@pytest.mark.parametrize("record", [Frame, Heading, Part, Program, Load, Hardware, *OPERATION_RECORDS.values()])
def test_every_key_is_explained_by_its_record(record):
    told = meanings(record)
    assert {k for k in record.model_fields if not told.get(k)} <= {"kind"}


# --- the form --------------------------------------------------------------------------------------------------------


def test_what_is_typed_stands_in_the_file_and_the_price_is_that_of_the_command(door):
    form = job_form(SHOP, door)
    boxes = form.frames.fields.boxes
    boxes["width"].value = "27 in"
    form.heading_fields.boxes["quantity"].value = "2"
    form.heading_fields.boxes["asked_price"].value = "7000 USD"
    boxes["glued"].value = False
    boxes["middle_rails"].value = "2"
    boxes["muntins"].value = "[1, 2, 0]"
    form.write()
    said = tomllib.loads(door.read_text())
    assert (
        said["frames"][0] | {"width": "27 in", "glued": False, "middle_rails": 2, "muntins": [1, 2, 0]}
        == said["frames"][0]
    )
    assert (said["job"]["quantity"], said["job"]["asked_price"]) == (2, "7000 USD")
    assert "# painted" in door.read_text()
    same = price(estimate(open_job(door, SHOP), SHOP), SHOP)
    assert (form.outcome.price.asked, form.outcome.price.floor) == (same.asked, same.floor)


def test_an_emptied_field_leaves_the_shops_usual(door):
    form = job_form(SHOP, door)
    form.frames.fields.boxes["stile"].value = ""
    assert "stile" not in form.file.data["frames"][0]
    assert form.frames.fields.boxes["stile"].placeholder.startswith("usual: ")
    form.frames.fields.boxes["joint"].value = ""
    assert "joint" not in form.file.data["frames"][0]


def test_a_fault_stands_beside_its_field_and_nowhere_else(door):
    before = door.read_bytes()
    form = job_form(SHOP, door)
    form.frames.fields.boxes["height"].value = "76"
    form.heading_fields.boxes["machine"].value = "ruter"
    wrong = {k for k, shown in form.frames.fields.wrong.items() if shown.value}
    assert wrong == {"height"}
    assert "no unit" in form.frames.fields.wrong["height"].value
    assert "did you mean" in form.heading_fields.wrong["machine"].value
    form.write()
    assert door.read_bytes() == before
    assert "Not written" in form.faults.value
    form.undo()
    form.undo()
    assert form.faults.value == ""
    assert form.frames.fields.boxes["height"].value == "76 in"
    assert form.undo_button.disabled


def test_parts_and_operations_are_added_filled_in_and_taken_out(tmp_path):
    path = copied(tmp_path, "garden-gates")
    before = path.read_text()
    form = job_form(SHOP, path)
    form.parts.add()
    fields = form.parts.fields
    assert {k for k, shown in fields.wrong.items() if shown.value} == {"length", "width", "thickness"}
    for key, value in {"id": "brace", "length": "30 in", "width": "3 in", "thickness": "1 in"}.items():
        fields.boxes[key].value = value
    form.parts.operations.kind.value = "bore"
    form.parts.operations.add()
    holes = form.parts.operations.fields
    assert {k for k, shown in holes.wrong.items() if shown.value} == {"depth", "diameter"}
    for key, value in {"cutter": "DR8", "depth": "1/2 in", "diameter": "8 mm", "program": "gate-rail-grooves"}.items():
        holes.boxes[key].value = value
    assert form.file.job is not None
    assert form.file.job.part("brace").operations[0].diameter == pytest.approx(8)
    form.parts.operations.remove()
    form.parts.remove()
    assert form.file.text == before


def test_a_key_nobody_knows_has_a_box_to_take_it_out_by(door):
    door.write_text(door.read_text().replace('height = "76 in"', 'hight = "76 in"'))
    form = job_form(SHOP, door)
    assert "did you mean" in form.frames.fields.wrong["hight"].value
    assert "is missing" in form.frames.fields.wrong["height"].value
    form.frames.fields.boxes["hight"].value = ""
    assert "hight" not in form.frames.fields.boxes
    form.frames.fields.boxes["height"].value = "76 in"
    assert form.file.job is not None
    assert form.outcome.price is not None


def test_an_operation_of_another_kind_shows_other_fields(tmp_path):
    form = job_form(SHOP, copied(tmp_path, "garden-gates"))
    operations = form.parts.operations
    assert operations.fields.boxes["kind"].value == "mortise"
    operations.fields.boxes["kind"].value = "bore"
    assert "diameter" in operations.fields.boxes
    assert "is missing" in operations.fields.wrong["diameter"].value
    assert "not known" in operations.fields.wrong["width"].value
    form.undo()
    assert operations.fields.boxes["kind"].value == "mortise"
    assert form.faults.value == ""


def test_choosing_another_part_shows_its_own_values(tmp_path):
    form = job_form(SHOP, copied(tmp_path, "garden-gates"))
    for number, part in enumerate(form.file.data["parts"]):
        form.parts.chosen.value = number
        assert form.parts.fields.boxes["length"].value == part["length"]
        if "operations" in part:
            assert form.parts.operations.fields.boxes["cutter"].value == part["operations"][0]["cutter"]
    assert not form.file.unwritten


def test_hours_said_outright(door):
    form = job_form(SHOP, door)
    box = form.phases._fields.boxes["delivery"]
    box.value = "3 h"
    assert form.file.job.phases["delivery"].hours == pytest.approx(3 * 3600)
    form.phases._fields.boxes["finishing"].value = '{ hours_each = "9 h" }'
    assert form.outcome.estimate.hours["finishing"].best == pytest.approx(9)
    form.phases._fields.boxes["finishing"].value = "9"
    assert "no unit" in form.phases._fields.wrong["finishing"].value


def test_somebody_elses_version_is_offered_and_never_lost(door):
    form = job_form(SHOP, door)
    assert form.read_button.layout.display == "none"
    form.set("job.quantity", 4)
    theirs = door.read_text() + "# by hand\n"
    door.write_text(theirs)
    form.write()
    assert door.read_text() == theirs
    assert form.read_button.layout.display is None
    form.read_again()
    assert form.file.text == theirs
    form.undo()
    form.write(over=True)
    assert open_job(door, SHOP).quantity == 4
    assert theirs in [p.read_text() for p in (door.parent / "earlier").iterdir()]


def test_a_file_that_is_not_there_is_begun(tmp_path):
    form = job_form(SHOP, tmp_path / "shop-gate.toml")
    assert form.heading_fields.boxes["name"].value == "Shop gate"
    assert form.outcome.price is not None


# --- the frame's sliders ---------------------------------------------------------------------------------------------


def test_sizes_moved_are_those_of_the_same_file_written_by_hand(door):
    control = frame_to_hours(SHOP, door)
    control.set(width="28 in", arch="1 in", top_rail="6 in", quantity=3)
    control.write()
    job = open_job(door, SHOP)
    f = job.expansion.layouts[0].frame
    assert (f.width, f.arch, f.top_rail.width) == pytest.approx((28 * 25.4, 25.4, 6 * 25.4))
    assert job.quantity == 3
    assert price(estimate(job, SHOP), SHOP).asked == control.outcome.price.asked
    assert "# hollowed by the arch" in door.read_text()


def test_what_cannot_be_made_is_said_beside_the_size_and_undone(door):
    control = frame_to_hours(SHOP, door)
    shown = control.outcome.drawing.value
    control.set(width="12 in")
    assert "increase width by" in control.wrong["width"].value
    assert control.outcome.drawing.value == shown
    control.undo()
    assert not control.refused
    assert control.wrong["width"].value == ""
    assert not control.can_undo
    assert control.changes() == {}


def test_the_units_shown_change_nothing(door):
    control = frame_to_hours(SHOP, door)
    asked = control.outcome.price.asked
    control.units.value = "metric"
    assert control.width.box.description == "width, mm"
    assert control.changes() == {}
    assert control.outcome.price.asked == asked


def test_pictures_say_what_their_tables_say(door):
    job = open_job(door, SHOP)
    found = estimate(job, SHOP)
    assert 'alt="Frame 24 in by 76 in' in frame_drawing(job.expansion.layouts[0])
    plan = schedule_job(found, SHOP)
    bars = days_view(plan).children[0].data[0]
    assert sum(bars.x) == pytest.approx(sum(s.task.bound for s in plan.slots if s.person))
    curve = quantities_view(job, (1, 5)).children[0].data[0]
    assert curve.y[0] == pytest.approx(float(price(found, SHOP).asked))
    assert curve.y[1] < curve.y[0]
    assert "mortise width" in fits_view(job).value
    assert "15.500 in" in panel_view(job).children[1].value
