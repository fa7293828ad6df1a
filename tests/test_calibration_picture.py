"""The pictures of a calibration show its own figures. The logged times are simulated."""

from dataclasses import replace

import numpy as np
import pytest

from shopcalc.calibration import FACTORS, LoggedTime, calibrate, factors_of, gathered, with_factors
from shopcalc.controls.calibration_picture import calibration_table, calibration_view, error_figure, factor_figure
from shopcalc.gcode import read_program
from shopcalc.motion import machine_time
from shopcalc.shop import Shop, demo_folder

JERK = next(f for f in FACTORS if f.key == "jerk")


@pytest.fixture(scope="module")
def found():
    router = Shop.open().machine("router")
    truth = with_factors(router, factors_of(router), np.log([0.6, 1.0, 0.8, 0.5, 0.9, 1.5, 1.2, 0.94]))
    names = ("panels", "lid-faces", "lid-lettering", "curved-rail", "rail-ends", "muntin-ends", "bottom", "lid-outline")
    moves = {n: read_program(demo_folder() / "programs" / f"{n}.nc").moves for n in names}
    seconds = {n: float(round(machine_time(m, truth).total_s)) for n, m in moves.items()}
    seconds["lid-outline"] *= 1.5
    return calibrate(gathered([LoggedTime(n, s) for n, s in seconds.items()], moves), router, archive=moves)


def trace(figure, name):
    return next(t for t in figure.data if t.name == name)


def test_dots_are_the_errors_before_and_after_and_the_outlier_is_named(found):
    figure = error_figure(found)
    for name, share in (("by the record", "error_before"), ("calibrated", "error_after")):
        shown = dict(zip(trace(figure, name).y, trace(figure, name).x, strict=True))
        assert shown == pytest.approx({p.program: 100 * getattr(p, share) for p in found.programs})
    assert found.outliers == ("lid-outline",)
    assert [a.y for a in figure.layout.annotations] == ["lid-outline"]
    assert "check it" in figure.layout.annotations[0].text


def test_bars_are_the_intervals_of_the_factors(found):
    figure = factor_figure(found)
    now, before = trace(figure, "now, 95 %"), trace(figure, "thought beforehand, 95 %")
    assert [v for v in now.x if v is not None] == pytest.approx(
        [100 * v for o in found.learned for v in (o.low, o.high)]
    )
    widths = [before.x[3 * k + 1] / before.x[3 * k] for k in range(len(found.learned))]
    assert widths == pytest.approx([np.exp(3.92 * o.factor.sigma) for o in found.learned])
    assert figure.layout.xaxis.type == "log"


def test_the_table_and_the_view_say_the_same(found):
    shown = calibration_table(found)
    for o in found.learned:
        assert f"{100 * o.value:.0f} %" in shown
    assert "not told apart from spindle start" in shown
    view = calibration_view(found)
    assert len(view.children) == 4
    assert "Time next: " in view.children[-1].value


def test_a_figure_the_record_lacks_is_said_to_be_beside_an_assumed_one(found):
    start = Shop.open().machine("small-router")
    bare = replace(found, record=found.record, start=start, learned=(replace(found.learned[0], factor=JERK),))
    assert "jerk (beside one assumed)" in factor_figure(bare).data[0].y
