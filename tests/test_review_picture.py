"""The pictures of looking back show its own figures. The entries are invented."""

import datetime
import math
from decimal import Decimal

import pytest

from shopcalc.controls.review_picture import earnings_figure, learning_figure, learning_words, review_view, times_figure
from shopcalc.review import Compared, Earned, EdgeUse, KindEarned, Review, trend


def earned(job, paid, open_hours=0.0):
    return Earned(
        job, ("frames",), paid, "" if paid else "no quote", "USD", Decimal(300), Decimal(100), 30.0, 2.0, open_hours,
        0.0, ("setup",) if open_hours else (),
    )  # fmt: skip


@pytest.fixture
def found():
    compared = (
        Compared("door", "program", "rails", 60.0, 66.0, 80.0, 2, 2, True),
        Compared("door", "program", "stiles", 90.0, None, None, 0, 2, False),
        Compared("door", "phase", "setup", 3600.0, None, 5400.0, 0, 0, True),
        Compared("gates", "phase", "setup", 7200.0, None, 7200.0, 0, 0, True),
        Compared("gates", "phase", "assembly", 7200.0, None, 600.0, 0, 0, False),
    )
    setup = trend("phase", "setup", [(20000.0 + 7 * k, 1.5 * 0.9**k) for k in range(6)])
    few = trend("program", "rails <door>", [(20000.0, 1.2)])
    jobs = (earned("door", Decimal(2000)), earned("gates", Decimal(9000), 10.0), earned("shutters", None))
    kinds = (KindEarned("frames", ("door", "gates"), Decimal(10_200), 70.0),)
    edges = (EdgeUse("SQ12", 1, 90.0, None, 100.0, None, "its one earlier edge"),)
    return Review(compared, (setup, few), jobs, kinds, edges, datetime.date(2026, 11, 5), (), "USD")


def trace(figure, name):
    return next(t for t in figure.data if t.name == name)


def test_three_shapes_at_their_times_and_the_error_in_words(found):
    programs = times_figure(found, "program")
    for name, minutes in (("planned", 1.0), ("programmed", 1.1), ("logged", 80 / 60)):
        assert list(trace(programs, name).x) == pytest.approx([minutes])
        assert list(trace(programs, name).y) == ["rails"]
    assert len({trace(programs, n).marker.symbol for n in ("planned", "programmed", "logged")}) == 3
    (said,) = programs.layout.annotations
    assert (said.text, said.x) == ("plan -25 %", pytest.approx(math.log10(80 / 60)))
    phases = times_figure(found)
    assert list(trace(phases, "planned").x) == [3.0]  # what is not finished is left out
    assert list(trace(phases, "logged").x) == [3.5]
    assert list(trace(phases, "logged").y) == ["setup (2 jobs)"]
    assert list(trace(times_figure(found, job="door"), "logged").x) == [1.5]


def test_learning_has_a_line_only_where_it_may(found):
    figure = learning_figure(found)
    lines = [t for t in figure.data if t.mode == "lines" and t.line.width == 2]
    assert len(lines) == 1
    assert (lines[0].y[0], lines[0].y[-1]) == pytest.approx((1.5, 1.5 * 0.9**5))
    assert figure.layout.annotations[0].text == learning_words(found.trends[0])
    assert "quicker" in figure.layout.annotations[0].text
    assert figure.layout.annotations[1].text == "rails &lt;door&gt;: too few days to say (1)"


def test_bars_are_what_an_hour_earned(found):
    figure = earnings_figure(found)
    (bars,) = figure.data
    assert list(bars.x) == pytest.approx([1600 / 30, 8600 / 40, 10_200 / 70], abs=0.005)
    assert list(bars.marker.pattern.shape) == ["", "/", ""]
    assert "25 % of the hours as planned" in bars.text[1]


def test_the_view_has_pictures_and_tables(found):
    view = review_view(found, "metric")
    text = "".join(getattr(c, "value", "") for c in view.children)
    assert "SQ12" in text
    assert "no quote" in text
    assert review_view(Review((), (), (), (), (), None, (), "USD")).children == ()
