"""Front views in the customer's quote: the frame's outlines at one scale, outer sizes, nothing of the joinery."""

import datetime
import io
from dataclasses import replace

import numpy as np
import openpyxl
import pytest
import shapely
from inner_numbers import of_pdf

from shopcalc.cli import main
from shopcalc.documents.drawing import Stroke, Words
from shopcalc.documents.page import as_page
from shopcalc.documents.pdf import as_pdf
from shopcalc.documents.workbook import as_workbook
from shopcalc.jobs import estimate, open_job
from shopcalc.quote import price
from shopcalc.sheets import Terms, customer_quote, cut_list
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
    words = [s.text for s in front_views(layouts, pieces=3).shapes if isinstance(s, Words)]
    sizes = [w for w in words if " in × " in w]
    assert len(sizes) == len(layouts)
    titles = [w for w in words if w not in sizes]
    assert titles == [f"{3 * x.frame.quantity} × {x.frame.title or x.frame.id}" for x in layouts]


def test_no_frame_no_drawing():
    assert front_views([]) is None


def test_ways_stand_beside_the_price_of_a_carved_job_only(tmp_path, capsys, shop):
    jobs = shop.folder / "jobs"
    words = ["--only", "customer-quote", "--ways", "--out", str(tmp_path)]
    assert main(["sheets", str(jobs / "linen-press.toml"), *words]) == 0
    page = (tmp_path / "linen-press-customer-quote.html").read_text(encoding="utf-8")
    assert "carved, both faces" in page
    assert page.count("but without the carving") == page.count("but carved on both faces") == 1
    assert page.count("a carved frieze") == 1  # the plain one does not promise it
    assert 'aria-label="front view: 2 × door, 18 3/4 in wide, 58 in high' in page
    said = capsys.readouterr().out
    assert "look: the customer reads the job file's note word for word: Black-walnut press" in said
    assert main(["sheets", str(jobs / "pantry-door.toml"), *words]) == 2
    assert "nothing of this job is carved" in capsys.readouterr().err


def test_the_customer_reads_how_many_frames_in_every_form(shop):
    """The quantities of the job file times that of the job, in the drawing, the list, the cut list and the workbook."""
    job = replace(open_job(shop.folder / "jobs" / "linen-press.toml", shop), quantity=7)
    priced = price(estimate(job, shop), shop)
    drawing = front_views(job.expansion.layouts, "inch", job.quantity)
    made = customer_quote(priced, Terms(), datetime.date(2026, 3, 2), drawing=drawing)
    page = as_page(made)
    assert page.count("14 × door") >= 3  # in the drawing, in its words, in what is included
    included = next(b for b in made.tables if b.title == "Included")
    assert "14 × door, 18 3/4 in × 58 in" in [row[1] for row in included.rows]
    book = openpyxl.load_workbook(io.BytesIO(as_workbook(made)))
    assert any("14 × door" in str(c.value) for sheet in book for row in sheet.iter_rows() for c in row)
    cuts = cut_list(priced, made.date)
    assert "14 × door" in cuts.about
    printed = " ".join(of_pdf(as_pdf(cuts)[0])).replace("\u00a0", " ")
    assert "3 15/16" in printed  # not broken inside the fraction on narrow columns
