"""Drawings and letters as outlines, against closed forms and an independent rasteriser."""

import math
import shutil

import ezdxf
import numpy as np
import pytest
import shapely
from artwork_files import write_png, write_svg
from PIL import Image, ImageDraw, ImageFont
from refusals import faults_of
from shapely.geometry import Polygon

from shopcalc.errors import InputError
from shopcalc.relief.curves import areas
from shopcalc.relief.letters import font_notes, letter_outlines
from shopcalc.relief.outlines import read_outlines

FINE = 1e-4  # mm: chords this near to curves


def one(path, **options):
    (outline,) = read_outlines(path, tolerance=FINE, **options)
    return outline


def short_of(value, size):
    """Chords lie inside: an area is short by at most the tolerance times the curve's length."""
    return pytest.approx(value, abs=FINE * size)


def test_a_circle_and_an_ellipse(tmp_path):
    circle = one(write_svg(tmp_path / "a", '<circle cx="30" cy="40" r="10"/>'))
    assert circle.area == short_of(100 * math.pi, 63)
    assert circle.length == pytest.approx(20 * math.pi, abs=1e-3)
    assert circle.shape.bounds == pytest.approx((0, 0, 20, 20), abs=1e-9)
    ellipse = one(write_svg(tmp_path / "b", '<ellipse rx="12" ry="5" transform="rotate(17)"/>'))
    assert ellipse.area == short_of(60 * math.pi, 60)
    t = math.radians(17)
    wide = 2 * math.hypot(12 * math.cos(t), 5 * math.sin(t))
    assert ellipse.shape.bounds[2] == pytest.approx(wide, abs=FINE)


@pytest.mark.parametrize(
    ("chain", "factor"),
    [
        ("rotate(30)", 1.0),
        ("scale(2 3) rotate(-70 5 9)", 6.0),
        ("matrix(1 .2 .3 1 4 5)", 0.94),
        (
            "translate(7) skewX(20) skewY(10) scale(-1.5 2)",
            3.0,
        ),
    ],
)
def test_rectangles_under_transforms_keep_the_determinant(tmp_path, chain, factor):
    outline = one(write_svg(tmp_path / "a", f'<g transform="{chain}"><rect x="3" width="10" height="5"/></g>'))
    assert outline.area == pytest.approx(50 * factor, rel=1e-9)


def test_nested_groups_multiply_and_corners_land_where_the_matrices_say(tmp_path):
    body = (
        '<g transform="translate(20 10)"><g transform="rotate(40)"><g transform="scale(2 .5)">'
        '<path d="M0 0 H10 V8 L3 4 Z"/></g></g></g><rect width="1" height="1"/>'
    )
    outline, mark = read_outlines(write_svg(tmp_path / "a", body))
    c, s = math.cos(math.radians(40)), math.sin(math.radians(40))
    corners = [
        (20 + c * 2 * x - s * 0.5 * y, 10 + s * 2 * x + c * 0.5 * y) for x, y in ((0, 0), (10, 0), (10, 8), (3, 4))
    ]
    page = np.array(mark.shape.bounds)[[0, 3]]  # the small square's upper left corner is the page's 0, 0
    wanted = Polygon([(page[0] + x, page[1] - y) for x, y in corners])
    assert outline.shape.symmetric_difference(wanted).area < 1e-9


@pytest.mark.parametrize(
    ("head", "mm"),
    [
        ('width="100mm" height="100mm" viewBox="0 0 50 50"', 2.0),
        ('width="10cm" viewBox="0 0 200 100"', 0.5),
        ('width="4in" height="4in" viewBox="0 0 96 96"', 25.4 * 4 / 96),
        ('width="72pt" height="72pt"', 25.4 / 96),
        ('viewBox="0 0 10 10"', 25.4 / 96),
        ("", 25.4 / 96),
        ('width="100mm" height="50mm" viewBox="0 0 100 100"', 0.5),
    ],
)
def test_units_and_view_boxes(tmp_path, head, mm):
    """CSS: 96 px, 72 pt, 2.54 cm an inch; a box is fitted whole into its page (SVG 1.1, 7.8)."""
    drawing = read_outlines(write_svg(tmp_path / "a", '<rect width="10" height="5"/>', head))
    assert drawing.bounds == pytest.approx((0, 0, 10 * mm, 5 * mm), rel=1e-12)
    assert any("no unit" in n for n in drawing.notes) == (not any(u in head for u in ("mm", "cm", "in", "pt")))


def test_use_symbols_definitions_and_hidden_things(tmp_path):
    body = (
        '<defs><g id="q"><circle r="3"/><rect x="5" width="2" height="2"/></g></defs>'
        '<symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol>'
        '<use xlink:href="#q" x="10" y="10"/><use href="#q" transform="translate(40 40) scale(2)"/>'
        '<use href="#s" x="70" width="4" height="4"/>'
        '<rect width="90" height="90" display="none"/><rect width="90" height="90" style="visibility:hidden"/>'
    )
    drawing = read_outlines(write_svg(tmp_path / "a", body), tolerance=FINE)
    wanted = [9 * math.pi, 4, 36 * math.pi, 16, 16]
    assert [o.area for o in drawing] == [short_of(a, 40) for a in wanted]
    assert any("hidden" in n for n in drawing.notes)


def test_style_sheets_decide_what_is_filled(tmp_path):
    body = (
        "<style>.line, rect.b {fill:none; stroke:#000} #c {fill:none;stroke:red} g > rect {fill:red}</style>"
        '<rect class="line" width="10" height="10"/><rect class="b" x="20" width="10" height="10"/>'
        '<rect id="c" x="40" width="10" height="10"/>'
        '<rect class="line" x="60" width="10" height="10" style="fill:blue"/>'
        '<g fill="none"><rect x="80" width="9" height="9"/></g>'
    )
    drawing = read_outlines(write_svg(tmp_path / "a", body))
    assert sorted((round(o.shape.bounds[0]), o.filled) for o in drawing) == [
        (0, False),
        (20, False),
        (40, False),
        (60, True),
    ]
    assert any("g > rect" in n for n in drawing.notes)
    assert any("invisible" in n for n in drawing.notes)


STAR = "M50 0 L79 90 L2 35 L98 35 L21 90 Z"


def test_fill_rules_of_a_star_that_crosses_itself(tmp_path):
    """Independent: the star's points less the pentagon; an even-odd star has no middle."""
    full = sum(o.area for o in read_outlines(write_svg(tmp_path / "a", f'<path d="{STAR}"/>')))
    odd = sum(o.area for o in read_outlines(write_svg(tmp_path / "b", f'<path fill-rule="evenodd" d="{STAR}"/>')))
    p = np.array([[50, 0], [79, 90], [2, 35], [98, 35], [21, 90]], float)
    tips = shapely.union_all([Polygon(p[[i, (i + 1) % 5, (i + 2) % 5]]) for i in range(5)])
    inner = shapely.intersection_all([Polygon(p[[i, (i + 2) % 5, (i + 3) % 5]]) for i in range(5)])
    signed = abs(sum(p[i, 0] * p[(i + 1) % 5, 1] - p[(i + 1) % 5, 0] * p[i, 1] for i in range(5)) / 2)
    assert full < tips.area + 1e-9
    assert odd == pytest.approx(2 * full - signed, rel=1e-9)  # windings 1 and 2: signed = full + middle
    assert inner.area < full - odd + 1e-9


def test_areas_agree_with_a_winding_count_by_angles():
    """Oracle: the sum of the angles a closed line turns about a point, over a grid of points."""
    rng = np.random.default_rng(4)
    for rule in ("nonzero", "evenodd"):
        rings = [np.vstack([r, r[:1]]) for r in rng.random((3, 7, 2))]
        found = shapely.union_all(areas(rings, rule))
        points = rng.random((400, 2))
        turns = np.zeros(400)
        for ring in rings:
            z = (ring[None] - points[:, None]) @ [1, 1j]
            turns += np.round(np.angle(z[:, 1:] / z[:, :-1]).sum(axis=1) / (2 * np.pi))
        inside = turns % 2 != 0 if rule == "evenodd" else turns != 0
        assert np.array_equal(shapely.contains_xy(found, points), inside)


def test_path_curves_against_closed_forms(tmp_path):
    """A parabola's segment is 2/3 of its box; others by Green's theorem and the areas of sectors."""
    parabola = one(write_svg(tmp_path / "a", '<path d="M0 0 Q 15 30 30 0 Z"/>'))
    assert parabola.area == short_of(2 / 3 * 30 * 15, 50)
    cubic = one(write_svg(tmp_path / "b", '<path d="M0 0 c 0 20 30 20 30 0 s 30 -20 30 0 T 70 0 V 30 H 0 z"/>'))
    # the second lobe mirrors the first, and T after a cubic has no control point to mirror: a straight line
    assert cubic.area == short_of(70 * 30, 200)
    chain = one(write_svg(tmp_path / "f", '<path d="M0 0 q 5 10 10 0 t 10 0 t 10 0 V 20 H 0 z"/>'))
    assert chain.area == short_of(30 * 20 - 2 / 3 * 10 * 5, 90)
    lobe = one(write_svg(tmp_path / "g", '<path d="M0 0 C 0 20 30 20 30 0 Z"/>'))
    assert lobe.area == short_of(3 / 20 * 30 * 20 * 3 + 3 / 20 * 30 * 20, 80)
    arc = one(write_svg(tmp_path / "c", '<path d="M10 0 A 10 10 0 0 1 0 10 L 0 0 z"/>'))
    assert arc.area == short_of(25 * math.pi, 40)
    large = one(write_svg(tmp_path / "d", '<path d="M10 0 A 10 10 0 1 0 0 10 L 0 0 z"/>'))
    assert large.area == short_of(75 * math.pi, 70)
    tilted = one(
        write_svg(tmp_path / "e", '<path transform="scale(1 -2)" d="M0 0 A 30 10 25 0 1 20 20 A 30 10 25 0 1 0 0"/>')
    )
    t = math.radians(25)
    back = np.array([[math.cos(t), math.sin(t)], [-math.sin(t), math.cos(t)]]) @ [20, 20] / [30, 10]
    half = math.asin(np.hypot(*back) / 2)
    lens = 2 * (half - math.sin(half) * math.cos(half)) * 300
    assert tilted.area == short_of(2 * lens, 200)


def test_rounded_rectangles(tmp_path):
    outline = one(write_svg(tmp_path / "a", '<rect width="40" height="20" rx="6" ry="3"/>'))
    assert outline.area == short_of(800 - (4 - math.pi) * 18, 120)
    whole = one(write_svg(tmp_path / "b", '<rect width="40" height="20" rx="99"/>'))
    assert whole.area == short_of(math.pi * 200, 120)


def test_strokes_alone_alternate_join_and_stay_open(tmp_path):
    body = (
        '<g fill="none" stroke="black"><circle cx="20" cy="20" r="10"/><circle cx="20" cy="20" r="5"/>'
        '<path d="M50 0 h10 v10"/><path d="M60.01 10 h-10"/><path d="M50 10 v-10"/><line x1="80" x2="90" y2="10"/></g>'
    )
    path = write_svg(tmp_path / "a", body)
    drawing = read_outlines(path, tolerance=FINE)
    assert sorted(round(o.area, 2) for o in drawing) == [
        0.0,
        pytest.approx(100, abs=0.2),
        pytest.approx(75 * math.pi, abs=0.02),
    ]
    assert [len(o.shape.interiors) for o in drawing if o.closed and o.area > 200] == [1]
    (fault,) = faults_of(lambda p: read_outlines(p, closed=True), path)
    assert "line is open" in fault.message
    (crossing,) = faults_of(read_outlines, write_svg(tmp_path / "b", f'<path fill="none" stroke="red" d="{STAR}"/>'))
    assert "crosses itself" in crossing.message
    (gap,) = faults_of(
        lambda p: read_outlines(p, closed=True), write_svg(tmp_path / "c", '<path id="k" d="M0 0 h9 v9"/>')
    )
    assert "path 'k' (gap of 12.7 mm" in gap.message


def test_sizes_scale_and_must_agree(tmp_path):
    path = write_svg(tmp_path / "a", '<rect x="7" y="9" width="40" height="20"/>')
    assert read_outlines(path, length=100.0).bounds == pytest.approx((0, 0, 100, 50))
    assert read_outlines(path, width=100.0).bounds == pytest.approx((0, 0, 200, 100))
    assert read_outlines(path, length=100.0, width=50.2).bounds == pytest.approx((0, 0, 100, 50.2))
    (fault,) = faults_of(lambda p: read_outlines(p, length=100.0, width=60.0), path)
    assert "length 100 mm and width 60 mm" in fault.message


def test_text_specks_clips_and_empty_drawings_are_told(tmp_path):
    body = (
        '<text>Read <tspan>me</tspan></text><rect width="9" height="9" clip-path="url(#k)"/>'
        '<rect x="50" width=".01" height=".01"/>'
    )
    notes = " | ".join(read_outlines(write_svg(tmp_path / "a", body)).notes)
    assert "'Read me'" in notes
    assert "clip-path is not applied" in notes
    assert "1 speck(s)" in notes
    for content, word in (("<text>Alone</text>", "'Alone'"), ("", "empty"), ('<use href="#x"/>', "not in the file")):
        assert word in faults_of(read_outlines, write_svg(tmp_path / "b", content))[0].message


def test_loops_bombs_and_nonsense_are_refused(tmp_path):
    ten = "".join(f'<g id="g{i}">' + f'<use href="#g{i + 1}"/>' * 10 + "</g>" for i in range(9))
    many = faults_of(read_outlines, write_svg(tmp_path / "a", f'{ten}<g id="g9"><rect width="1" height="1"/></g>'))
    assert "simplify" in many[0].remedy
    loop = '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'
    assert "points to itself" in faults_of(read_outlines, write_svg(tmp_path / "b", loop))[0].message
    path = tmp_path / "c"
    path.write_text('<!DOCTYPE svg [<!ENTITY a "aaaa">]><svg xmlns="http://www.w3.org/2000/svg">&a;</svg>')
    assert "entities" in faults_of(read_outlines, path)[0].message
    body = '<path d="M0 0 X"/><path id="p" d="M0 0 L 5"/><rect width="5furlong" height="3"/><g transform="turn(3)"/>'
    faults = faults_of(read_outlines, write_svg(tmp_path / "d", body))
    assert [w in str(f) for f, w in zip(faults, ("'X'", "path 'p'", "5furlong", "turn(3)"), strict=True)] == [True] * 4
    path.write_text("<svg><rect></svg>")
    (fault,) = faults_of(read_outlines, path)
    assert fault.line == 1


def drawing(tmp_path, units=4):
    document = ezdxf.new(units=units)
    return document, document.modelspace(), tmp_path / "a.dxf"


def test_dxf_shapes_against_closed_forms(tmp_path):
    """A bulge is the tangent of a quarter of the arc's angle (definition of the format)."""
    document, model, path = drawing(tmp_path)
    model.add_circle((5, 5), 2)
    model.add_lwpolyline([(20, 0, 0, 0, 1), (24, 0, 0, 0, 1)], close=True)
    model.add_lwpolyline([(40, 0, 0, 0, 0), (44, 0, 0, 0, -0.5), (44, 4, 0, 0, 0.3), (40, 4, 0, 0, 0)], close=True)
    model.add_ellipse((60, 0), (3, 1), 0.5)
    model.add_ellipse((70, 0), (0, 3), 0.5, 0, math.pi)
    model.add_line((70, 3), (70, -3))
    document.saveas(path)
    found = read_outlines(path, tolerance=FINE)
    angle = [4 * math.atan(b) for b in (0.5, 0.3)]
    bows = [(2 / math.sin(a / 2)) ** 2 / 2 * (a - math.sin(a)) for a in angle]
    wanted = [4 * math.pi, 4 * math.pi, 16 - bows[0] + bows[1], 5 * math.pi, math.pi * 4.5 / 2]
    areas_by_place = [o.area for o in sorted(found, key=lambda o: o.shape.bounds[0])]
    assert areas_by_place == [short_of(a, 20) for a in wanted]


def test_dxf_lines_and_arcs_are_joined_and_mirrored_ones_stand_right(tmp_path):
    document, model, path = drawing(tmp_path, units=1)
    model.add_line((10, 0), (12, 0))
    model.add_arc((12, 1), 1, 270, 90)
    model.add_line((10, 2), (12, 2))
    model.add_line((10, 2.0004), (10, 0))
    model.add_arc((50, 0), 1, 0, 90, dxfattribs={"extrusion": (0, 0, -1)})
    document.saveas(path)
    closed, open_one = read_outlines(path, tolerance=FINE)
    assert closed.area / 25.4**2 == pytest.approx(4 + math.pi / 2, abs=1e-3)
    assert open_one.length / 25.4 == pytest.approx(math.pi / 2, abs=1e-4)
    x = np.array(open_one.shape.coords)[:, 0] / 25.4  # mirrored: a quarter about x = -50 that bends to -51
    assert (x.min(), x.max()) == (pytest.approx(0, abs=1e-6), pytest.approx(1, abs=1e-6))


def test_dxf_blocks_splines_units_text_and_layers(tmp_path):
    document, model, path = drawing(tmp_path, units=0)
    block = document.blocks.new("B")
    block.add_circle((0, 0), 1)
    model.add_blockref("B", (0, 0), {"xscale": 3, "yscale": 2})
    model.add_spline([(20, 0), (22, 3), (24, 0)])
    model.add_text("SIGN")
    model.add_point((1, 1))
    document.layers.add("off").off()
    model.add_line((0, 0), (99, 99), {"layer": "off"})
    document.saveas(path)
    found = read_outlines(path, tolerance=FINE)
    assert [o.area for o in found] == [short_of(6 * math.pi, 20), 0]
    notes = " | ".join(found.notes)
    for word in ("no unit: taken as mm", "'SIGN'", "POINT is not read", "hidden layer 'off'"):
        assert word in notes


def test_what_the_dxf_library_leaves_out_is_told(tmp_path, caplog):
    document, model, path = drawing(tmp_path)
    document.blocks.new("B").add_circle((0, 0), 1)
    model.add_circle((0, 0), 5)
    document.saveas(path)
    path.write_text(path.read_text().replace("ENDBLK", "ENDBLX"))
    assert any("the file is odd" in n for n in read_outlines(path).notes)
    assert not caplog.records


def test_broken_and_foreign_files_are_refused(tmp_path):
    document, model, path = drawing(tmp_path)
    model.add_circle((0, 0), 5)
    document.saveas(path)
    text = path.read_text()
    path.write_text(text[: len(text) * 2 // 3])
    assert faults_of(read_outlines, path)
    assert "image or a mesh" in faults_of(read_outlines, write_png(tmp_path / "b", np.zeros((2, 2), int), 8))[0].message
    (tmp_path / "c").write_bytes(b"%PDF-1.4")
    assert "PDF" in faults_of(read_outlines, tmp_path / "c")[0].message
    assert "no such file" in faults_of(read_outlines, tmp_path / "d")[0].message


# --- letters ----------------------------------------------------------------------------------------------------------


def test_letters_have_the_height_of_a_capital_and_their_holes():
    (capital,) = letter_outlines("H", 25.0)
    assert (capital.shape.bounds[1], capital.shape.bounds[3]) == (pytest.approx(0, abs=1e-9), pytest.approx(25.0))
    holes = {o.name: len(o.shape.interiors) for o in letter_outlines("OBHDAPR8", 20.0)}
    assert holes == {"O": 1, "B": 2, "H": 0, "D": 1, "A": 1, "P": 1, "R": 1, "8": 2}
    assert len(letter_outlines("i%", 20.0)) == 2 + 3
    assert all(o.shape.is_valid for o in letter_outlines("Where the reeds stand & 0123456789 äöüÅ", 20.0))


@pytest.mark.parametrize("letter", "RSg&@")
def test_the_area_of_a_letter_agrees_with_an_independent_rasteriser(letter):
    """FreeType by way of Pillow: pixels inked at 1000 px an em."""
    font = ImageFont.truetype(font_notes().file, 1000)
    image = Image.new("L", (1600, 1600))
    ImageDraw.Draw(image).text((200, 100), letter, 255, font=font)
    inked = np.asarray(image, dtype=float).sum() / 255
    box = ImageFont.truetype(font_notes().file, 1000).getbbox("H", anchor="ls")
    height = 20.0
    found = sum(o.area for o in letter_outlines(letter, height)) * ((box[3] - box[1]) / height) ** 2
    assert found == pytest.approx(inked, rel=0.01)


def test_kerning_agrees_with_an_independent_layout():
    """Pillow lays text out by FreeType or HarfBuzz, with the font's own pairs."""
    font = ImageFont.truetype(font_notes().file, 1000)
    scale = 20.0 / -font.getbbox("H", anchor="ls")[1]
    for pair in ("AV", "To", "HH"):
        first, last = (o.shape.bounds for o in letter_outlines(pair, 20.0))
        own = last[0] - letter_outlines(pair[1], 20.0)[0].shape.bounds[0]
        kern = own / scale - font.getlength(pair[0])
        assert kern == pytest.approx(font.getlength(pair) - font.getlength(pair[0]) - font.getlength(pair[1]), abs=2.0)
        assert first[0] >= -1


def test_lines_stand_under_each_other():
    text, height = "Reeds\nI", 10.0
    for align, edge in (("left", 0.0), ("centre", 0.5), ("right", 1.0)):
        found = letter_outlines(text, height, align=align, line_spacing=18.0)
        last = found[-1].shape.bounds
        assert (last[1], last[3]) == (pytest.approx(-18.0), pytest.approx(-8.0))
        whole = shapely.total_bounds([o.shape for o in found[:-1]])
        anchor = whole[0] * (1 - edge) + whole[2] * edge
        assert anchor == pytest.approx(0, abs=1.0)  # the letters' own margins
    assert len(letter_outlines("A\n\nB", 10.0)) == 2


def test_missing_letters_are_named_together_and_fonts_must_be_fonts(tmp_path):
    with pytest.raises(InputError) as caught:
        letter_outlines("Aж☃", 20.0)
    assert [f"{f.message[-8:]}" for f in caught.value.faults] == ["(U+0436)", "(U+2603)"]
    (tmp_path / "a.ttf").write_bytes(b"no font at all")
    assert "font" in faults_of(lambda p: letter_outlines("A", 20.0, p), tmp_path / "a.ttf")[0].message
    assert "no such file" in faults_of(lambda p: letter_outlines("A", 20.0, p), tmp_path / "b.ttf")[0].message.lower()
    shutil.copy(font_notes().file, tmp_path / "c.ttf")
    assert letter_outlines("A", 20.0, tmp_path / "c.ttf")[0].area == letter_outlines("A", 20.0)[0].area
    for text, height in (("", 20.0), ("A", 0.0), ("A", math.nan)):
        with pytest.raises(InputError):
            letter_outlines(text, height)


def test_the_font_says_its_name_and_licence():
    notes = font_notes()
    assert notes.name == "Caladea Regular"
    assert "Apache License" in notes.licence
