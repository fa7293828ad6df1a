"""Pictures of the later lessons: what they draw and say is what the models, the standards and geometry say."""

import itertools

import numpy as np
import pytest

from shopcalc.controls import noise_control, program_lines, season_control, stations_control, what_if
from shopcalc.controls.program_lines import PROGRAMS
from shopcalc.controls.stations_picture import FACES
from shopcalc.controls.what_if import EVENTS


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_a_program_is_followed_line_by_line_and_its_fault_is_told_where_it_is(system):
    control = program_lines(system)
    said = {}
    for name, text in PROGRAMS:
        control.program.value = text
        control.line.value = 5
        control.tell_faults()
        said[name] = (control.verdict, control.faults.value)
    assert "in the wood" in said["a sound one"][0]
    assert "none of the faults" in said["a sound one"][1]
    assert "rapid INTO the wood" in said["first trap"][0]
    assert "line 5: rapid through wood" in said["first trap"][1]
    assert "THROUGH the part" in said["second trap"][0]
    assert "units" in said["third trap"][1]
    assert "spindle STANDS" in said["fourth trap"][0]
    control.program.value = PROGRAMS[0][1]
    control.line.value = 4
    control.on.click()
    assert control.line.value == 5
    assert float(control.figure.data[2].y[0]) == pytest.approx(-5 / (25.4 if system == "inch" else 1))
    assert len(control.figure.data[0].x) + len(control.figure.data[1].x) == len(control.moves.points) + 1


def test_a_program_that_cannot_be_read_is_said_and_comes_back():
    control = program_lines()
    control.text.value = "G1 X<b>5"
    assert "cannot be read" in control.verdict
    assert "<b>" not in control.listing.value
    control.text.value = "G21\nG1 Z-1 F100"
    control.line.value = 2
    assert "in the wood" in control.verdict


def test_each_lie_shows_each_face_once_and_turning_twice_is_no_turn():
    control = stations_control()
    for (_, station), (_, turn) in itertools.product(control.station.options, control.turn.options):
        control.station.value, control.turn.value = station, turn
        assert {control.face(a, w) for a in range(3) for w in (1, -1)} == set(FACES.values())
        assert np.linalg.det(control.lie) == pytest.approx(1), "a part can be turned, not mirrored"
    for name, still in (("rolled over: right and left stay", 0), ("tipped over: fence side stays", 1),
                        ("turned round: top stays", 2)):  # fmt: skip
        control.station.value, control.turn.value = "flat", name
        now = control.face(still, 1)
        control.turn.value = "as it was laid"
        assert control.face(still, 1) == now, name


def test_a_joint_off_the_middle_comes_out_mirrored_when_the_mark_leaves_the_fence():
    control = stations_control("metric")
    control.width.value, control.place.value = 80.0, 20.0
    assert control.from_fence == pytest.approx(20)
    control.turn.value = "rolled over: right and left stay"
    assert control.from_fence == pytest.approx(60)
    assert "does not look up" in control.answer.value
    control.station.value, control.turn.value = "end", "turned round: top stays"
    control.thickness.value = 24.0
    assert control.from_fence == pytest.approx(4)
    assert "does not look up" not in control.answer.value


def test_noise_is_what_the_institutes_table_says():
    """480 min at 85 dBA, half for each 3 dB: NIOSH 98-126, rows WE39a to f; the law by 29 CFR 1910.95 at 90 and 95."""
    control = noise_control()
    for level, minutes in ((85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15)):
        control.level.value, control.minutes.value = level, minutes
        assert control.used == pytest.approx(1)
    control.minutes.value = 30
    assert "TOO MUCH" in control.verdict
    control.plugs.value = 20
    assert "within it" in control.verdict
    law = dict(zip(control.figure.data[1].x, control.figure.data[1].y, strict=True))
    assert (law[90], law[95], law[100]) == pytest.approx((480, 240, 120))
    assert "29 CFR" in control.table.value


def test_a_wide_tight_panel_jams_and_a_quarter_sawn_one_moves_less():
    control = season_control("metric")
    control.width.value, control.clearance.value = 500.0, 1.0
    assert "jams" in control.verdict
    swing = [max(b[1] for b in control.through.bands) - min(b[1] for b in control.through.bands)]
    control.sawn.value = "quarter-sawn"
    swing.append(max(b[1] for b in control.through.bands) - min(b[1] for b in control.through.bands))
    control.sawn.value = "flat-sawn"
    swing.append(max(b[1] for b in control.through.bands) - min(b[1] for b in control.through.bands))
    assert swing[1] < swing[0] < swing[2]


def test_the_first_answers_come_in_their_order_and_nothing_is_shown_before():
    control = what_if()
    assert control._after.layout.display == "none"
    for hasty in control.wrong:
        hasty.click()
        assert "NOT FIRST" in control.said.value
    control.first[2].click()
    control.first[1].click()
    assert "NOT YET" in control.said.value
    assert control._after.layout.display == "none"
    for button in control.first:
        button.click()
        assert "RIGHT" in control.said.value
    assert control._after.layout.display == ""
    assert "chatter" in control.table.value


#: Which lever cures what was found, and which does not.
CURES = {
    0: (("feed", 3600.0), ("clamp", 4000.0)), 1: (("edge", 0.0), ("clamp", 4000.0)),
    2: (("clamp", 2500.0), ("rpm", 12000.0)), 3: (("stick_out", 40.0), ("feed", 1800.0)),
    4: (("rpm", 16000.0), ("clamp", 4000.0)),
}  # fmt: skip


@pytest.mark.parametrize("number", range(len(EVENTS)))
def test_each_event_passes_a_bound_and_its_own_lever_cures_it(number):
    control = what_if("metric")
    control.event.value = EVENTS[number]
    assert "within" not in control.verdict
    (cure, good), (other, value) = CURES[number]
    kept = getattr(control, other).value
    getattr(control, other).value = value
    assert "within" not in control.verdict, f"{other} is no cure"
    getattr(control, other).value = kept
    getattr(control, cure).value = good
    assert "within" in control.verdict
    used = dict(zip(control.now, (x.used for x in control.now.values()), strict=True))
    assert max(used.values()) <= 1
    assert list(control.figure.data[0].x) != list(control.figure.data[1].x)
