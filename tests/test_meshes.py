"""Meshes seen from above: made from known surfaces, they come back as these."""

import numpy as np
import pytest
import trimesh
from artwork_files import grid_mesh, write_ply, write_stl
from refusals import faults_of

from shopcalc.relief.artwork import read_artwork
from shopcalc.relief.meshes import MOST_TRIANGLES


def surface(x, y):
    return 6 * np.exp(-((x - 22) ** 2 + (y - 14) ** 2) / 60) + 0.05 * x


def hill(side=1.0):
    y, x = np.mgrid[0:31, 0:46] * side
    return grid_mesh(surface(x, y), side)


FORMS = {
    "binary STL": lambda p, t: write_stl(p, t),
    "ASCII STL": lambda p, t: write_stl(p, t, text=True),
    "PLY little": lambda p, t: write_ply(p, t, "<"),
    "PLY big": lambda p, t: write_ply(p, t, ">"),
    "PLY text": lambda p, t: write_ply(p, t, "ascii"),
}


@pytest.mark.parametrize("form", FORMS)
def test_heights_come_back_exactly_at_corners_and_on_planes_between(tmp_path, form):
    """Squares of one unit, a map of a third: middles lie on the triangles' planes."""
    art = read_artwork(FORMS[form](tmp_path / "a", hill()), depth=None, pixel=1 / 3)
    x, y = art.map.x, art.map.y
    i, j = np.minimum(y.astype(int), 29)[:, None], np.minimum(x.astype(int), 44)[None, :]
    corner = surface(*np.meshgrid(np.arange(46.0), np.arange(31.0)))
    u, v = x[None, :] - j, y[:, None] - i
    a, b, c, d = corner[i, j], corner[i, j + 1], corner[i + 1, j + 1], corner[i + 1, j]
    plane = np.where(u >= v, a + u * (b - a) + v * (c - b), a + v * (d - a) + u * (c - d))
    assert np.allclose(art.map.z, plane - plane.max(), rtol=0, atol=2e-6)
    assert art.kind.endswith("2 700 triangles")


def test_it_is_scaled_to_length_and_depth(tmp_path):
    path = write_stl(tmp_path / "a.stl", hill())
    one = read_artwork(path, depth=None, pixel=1.0)
    scaled = read_artwork(path, length=90.0, depth=12.0, pixel=2.0)
    assert (scaled.map.length, scaled.map.width, scaled.map.depth) == (90.0, 60.0, pytest.approx(12.0))
    assert np.allclose(scaled.map.z, one.map.z / one.map.depth * 12, rtol=0, atol=1e-6)
    whole = read_artwork(path, length=90.0, depth=None, pixel=2.0)
    assert np.allclose(whole.map.z, one.map.z * 2, rtol=0, atol=1e-5)
    assert any("taken as mm" in n for n in one.notes)
    assert not any("taken as mm" in n for n in scaled.notes)
    (fault,) = faults_of(lambda p: read_artwork(p, length=90.0, width=90.0, depth=3.0), path)
    assert "length 90 mm and width 90 mm" in fault.message


def test_a_ball_shows_its_upper_half(tmp_path):
    """Closed mesh, undersides hidden: z = sqrt(r2 - d2) within a pixel's slope and the facets' sagitta."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=10.0)
    art = read_artwork(write_stl(tmp_path / "a.stl", ball.triangles), depth=None, pixel=0.1)
    x, y = np.meshgrid(art.map.x - 10, art.map.y - 10)
    d2 = x * x + y * y
    inner = d2 < 81
    assert np.abs(art.map.z - (np.sqrt(np.maximum(100 - d2, 0)) - 10))[inner].max() < 0.02
    assert any("not covered" in n for n in art.notes)
    assert art.map.z[0, 0] == art.map.z.min()
    top = read_artwork(tmp_path / "a.stl", depth=None, pixel=0.1, transparent="top")
    assert top.map.z[0, 0] == 0.0


def test_turned_triangles_and_those_without_area_change_nothing(tmp_path):
    mesh = hill()
    flipped = mesh.copy()
    flipped[::2] = flipped[::2, ::-1]
    line = np.array([[[1, 1, 9], [2, 2, 9], [3, 3, 9]], [[5, 5, 1], [5, 5, 1], [5, 5, 1]]], float)
    plain = read_artwork(write_stl(tmp_path / "a", mesh), depth=None, pixel=0.5)
    other = read_artwork(write_stl(tmp_path / "b", np.concatenate([flipped, line])), depth=None, pixel=0.5)
    assert np.allclose(plain.map.z, other.map.z, rtol=0, atol=1e-6)
    assert any("2 triangle(s) without area" in n for n in other.notes)


def test_walls_leave_no_splinters(tmp_path):
    """A block turned by 30 degrees: edge-on walls must not spill over their boxes."""
    box = trimesh.creation.box((20, 10, 5))
    box.apply_transform(trimesh.transformations.rotation_matrix(np.radians(30), (0, 0, 1)))
    art = read_artwork(write_stl(tmp_path / "a", box.triangles), depth=None, pixel=0.05, transparent="lowest")
    assert any("flat" in n for n in art.notes)
    assert not art.map.z.any()
    covered = 1 - float(next(n for n in art.notes if "not covered" in n).split("%")[0]) / 100
    assert covered * art.map.length * art.map.width == pytest.approx(200, rel=0.002)


def test_the_axis_that_points_up_can_be_said(tmp_path):
    mesh = hill()
    lying = mesh[:, :, [0, 2, 1]] * [1, 1, -1]  # y up: z forward
    wanted = read_artwork(write_stl(tmp_path / "a", mesh), depth=None, pixel=0.5)
    turned = read_artwork(write_stl(tmp_path / "b", lying), depth=None, pixel=0.5, up="y")
    assert np.allclose(wanted.map.z, turned.map.z, rtol=0, atol=1e-5)
    tall = trimesh.creation.box((10, 5, 40))
    art = read_artwork(write_stl(tmp_path / "c", tall.triangles), depth=3.0)
    assert any("up='y'" in n for n in art.notes)


def test_a_hole_is_told(tmp_path):
    mesh = hill()
    middle = mesh.mean(axis=1)
    kept = mesh[np.hypot(middle[:, 0] - 22, middle[:, 1] - 14) > 3]
    art = read_artwork(write_stl(tmp_path / "a", kept), depth=None, pixel=0.5)
    assert any("1 hole(s)" in n for n in art.notes)


def test_broken_meshes_are_refused(tmp_path):
    good = write_stl(tmp_path / "good.stl", hill()).read_bytes()
    text = write_stl(tmp_path / "text.stl", hill(), text=True).read_bytes()
    ply = write_ply(tmp_path / "good.ply", hill()).read_bytes()
    nan = hill()
    nan[3, 1, 2] = np.nan
    cases = {
        "cut.stl": (good[:-7], "cut off"),
        "text.stl": (text[: len(text) // 2], "cut off"),
        "word.stl": (text.replace(b"vertex 5", b"vertex five", 1), "three numbers"),
        "cut.ply": (ply[:-40], ""),
        "points.ply": (ply.replace(b"element face 2700", b"element face 0   "), "no faces"),
        "none.stl": (bytes(80) + bytes(4), "no triangles"),
        "nan.stl": (write_stl(tmp_path / "n", nan).read_bytes(), "no numbers"),
        "line.stl": (write_stl(tmp_path / "l", hill() * [1, 0, 1]).read_bytes(), "it is a line"),
    }
    for name, (data, word) in cases.items():
        path = tmp_path / name
        path.write_bytes(data)
        assert word in faults_of(lambda p: read_artwork(p, length=50.0, depth=5.0), path)[0].message, name


def test_a_count_beyond_the_bound_is_refused(tmp_path):
    """A sparse file: its size agrees with its count, yet nothing is read."""
    path, count = tmp_path / "a.stl", MOST_TRIANGLES + 1
    with path.open("wb") as file:
        file.write(bytes(80) + count.to_bytes(4, "little"))
        file.truncate(84 + 50 * count)
    (fault,) = faults_of(lambda p: read_artwork(p, length=50.0, depth=5.0), path)
    assert "reduce the mesh" in fault.remedy


@pytest.mark.benchmark
def test_ten_million_triangles_are_read_piece_by_piece(tmp_path):
    side = 2237
    y, x = np.mgrid[0:side, 0:side] * 0.1
    write_stl(tmp_path / "a.stl", grid_mesh(surface(x, y), 0.1))
    shares = []
    art = read_artwork(tmp_path / "a.stl", depth=None, pixel=0.2, progress=shares.append)
    assert shares[-1] == 1.0
    assert "99" in art.kind
