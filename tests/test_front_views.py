"""Front views in the customer's quote: the frame's outlines at one scale, outer sizes, nothing of the joinery."""

import numpy as np
import pytest
import shapely

from shopcalc.cli import main
from shopcalc.documents.drawing import Stroke, Words
from shopcalc.jobs import open_job
from shopcalc.sheets.front import front_views
from shopcalc.shop import Shop


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture(scope="module", params=["pantry-door", "linen-press"])
def layouts(request, shop):
    return open_job(shop.folder / "jobs" / f"{request.param}.toml", shop).expansion.layouts


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_outlines_are_the_frames_at_one_scale_and_stay_on_the_paper(layouts, system):
    drawing = front_views(layouts, system)
    rings = [shapely.Polygon(s.points) for s in drawing.shapes if isinstance(s, Stroke) and s.closed and s.width]
    wood = [shapely.Polygon(m.outline) for laid in layouts for m in laid.members]
    assert len(rings) == len(wood)
    scales = np.sqrt(sorted(r.area for r in rings)) / np.sqrt(sorted(w.area for w in wood))
    assert scales.max() == pytest.approx(scales.min(), rel=1e-6)
    x, y = np.array([p for s in drawing.shapes if isinstance(s, Stroke) for p in s.points]).T
    assert min(x.min(), y.min()) >= 0
    assert x.max() <= drawing.width
    assert y.max() <= drawing.height


def test_only_outer_sizes_are_written(layouts):
    words = [s.text for s in front_views(layouts).shapes if isinstance(s, Words)]
    assert len(words) == len(layouts)
    assert all(" × " in w for w in words)


def test_no_frame_no_drawing():
    assert front_views([]) is None


def test_ways_stand_beside_the_price_of_a_carved_job_only(tmp_path, capsys, shop):
    jobs = shop.folder / "jobs"
    words = ["--only", "customer-quote", "--ways", "--out", str(tmp_path)]
    assert main(["sheets", str(jobs / "linen-press.toml"), *words]) == 0
    page = (tmp_path / "linen-press-customer-quote.html").read_text(encoding="utf-8")
    assert "carved, both faces" in page
    assert 'aria-label="front view: door, 18 3/4 in wide, 58 in high' in page
    capsys.readouterr()
    assert main(["sheets", str(jobs / "pantry-door.toml"), *words]) == 2
    assert "nothing of this job is carved" in capsys.readouterr().err
