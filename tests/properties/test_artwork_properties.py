"""What is written comes back within a grey step; what is broken is refused in words, at once, whatever the damage."""

import io
import math
import time

import numpy as np
import pytest
import shapely
from artwork_files import SVG, grid_mesh, write_ply, write_png, write_stl, write_svg, write_tiff
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from shopcalc.errors import InputError
from shopcalc.relief.artwork import read_artwork
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.letters import letter_outlines
from shopcalc.relief.outlines import read_outlines
from shopcalc.relief.terraces import Terraces, smoothed

quick = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

shapes = st.tuples(st.integers(1, 24), st.integers(1, 24))
seeds = st.integers(0, 2**32 - 1)


def heights(seed, shape, depth):
    """Random heights from 0 to -depth, both reached."""
    z = -np.random.default_rng(seed).random(shape) * depth
    z.flat[0] = 0.0
    z.flat[-1] = -depth if z.size > 1 else 0.0
    return z


@quick
@given(seeds, shapes, st.sampled_from([1, 2, 4, 8, 16]), st.floats(0.5, 60), st.booleans(), st.booleans())
def test_png_of_every_depth_gives_heights_back_within_a_grey_step(
    tmp_path, seed, shape, bits, depth, invert, interlace
):
    z, white = heights(seed, shape, depth), (1 << bits) - 1
    share = -z / depth if invert else 1 + z / depth
    path = write_png(tmp_path / "a", np.rint(share * white).astype(int)[::-1], bits, interlace=interlace)
    art = read_artwork(path, length=shape[1] * 0.5, depth=depth, invert=invert)
    if z.size == 1:
        assert not art.map.z.any()
    else:
        assert np.abs(art.map.z - z).max() <= 0.5 * depth / white + 1e-9
    assert art.map.z.max() <= 0


@quick
@given(
    seeds,
    shapes,
    st.sampled_from(["u1", "u2", "i2", "i4", "f4"]),
    st.sampled_from("<>"),
    st.sampled_from([None, "zlib"]),
)
def test_tiff_of_every_depth_gives_heights_back_within_a_step(tmp_path, seed, shape, kind, order, compression):
    z = heights(seed, shape, 9.5)
    if z.size == 1:
        return
    if kind == "f4":
        values, step = z.astype("f4"), 1e-6
    else:
        info = np.iinfo(kind)
        values = np.rint((1 + z / 9.5) * (float(info.max) - info.min) + info.min)
        values = np.clip(values, info.min, info.max).astype(kind)
        step = 9.5 / (float(info.max) - info.min)
    path = write_tiff(tmp_path / "a", values[::-1], byteorder=order, compression=compression)
    art = read_artwork(path, length=shape[1] * 0.5, depth=9.5)
    assert np.abs(art.map.z - z).max() <= step + 1e-6


@quick
@given(seeds, st.integers(2, 40), st.integers(2, 40), st.floats(0.3, 2), st.sampled_from([8, 16]))
def test_another_pixel_keeps_heights_between_the_old_ones(tmp_path, seed, rows, columns, pixel, bits):
    values = np.random.default_rng(seed).integers(0, 1 << bits, (rows, columns))
    values.flat[0], values.flat[1] = 0, (1 << bits) - 1
    art = read_artwork(write_png(tmp_path / "a", values, bits), length=float(columns), depth=7.0, pixel=pixel)
    assert art.map.length == pytest.approx(columns)
    assert abs(art.map.width - rows) <= 0.5 * art.map.pixel + 1e-9
    assert art.map.z.min() >= -7 - 1e-9
    assert art.map.z.max() <= 1e-9


@quick
@given(seeds, st.integers(2, 30), st.integers(2, 30), st.floats(0.01, 1))
def test_smoothing_never_moves_a_height_by_more_than_half_a_step(seed, rows, columns, step):
    z = -np.random.default_rng(seed).integers(0, 6, (rows, columns)) * step
    done = smoothed(HeightMap(z, 0.5), Terraces(6, step, 1.5))
    assert np.abs(done.z - z).max() <= step / 2 + 1e-12
    assert z.min() - 1e-12 <= done.z.min()
    assert done.z.max() <= z.max() + 1e-12


@quick
@given(seeds, st.integers(3, 9), st.floats(0.2, 3), st.sampled_from(["<", ">", "ascii", "stl", "text"]))
def test_a_mesh_of_random_heights_comes_back_at_its_corners(tmp_path, seed, side, scale, form):
    """A map whose middles fall on the corners: one square more than a map of the squares between."""
    z = np.random.default_rng(seed).random((side, side)) * 5
    triangles = np.concatenate([grid_mesh(z, 1.0), grid_mesh(np.full((2, 2), -1.0), float(side)) - [0.5, 0.5, 0]])
    path = write_stl(tmp_path / "a", triangles, form == "text") if form in ("stl", "text") else None
    path = path or write_ply(tmp_path / "a", triangles, form)
    art = read_artwork(path, length=side * scale, depth=None, pixel=scale)
    assert art.map.z.shape == (side, side)
    assert np.allclose(art.map.z, (z - z.max()) * scale, rtol=0, atol=1e-5 * scale)


@quick
@given(st.lists(st.tuples(st.floats(-360, 360), st.floats(0.1, 4), st.floats(-4, -0.1)), min_size=1, max_size=4))
def test_areas_follow_the_determinant_of_nested_transforms(tmp_path, chain):
    opened = "".join(f'<g transform="rotate({a}) scale({x} {y}) translate({x} {a})">' for a, x, y in chain)
    body = opened + '<path d="M0 0 h9 v4 h-5 v3 h-4 z"/>' + "</g>" * len(chain)
    factor = math.prod(abs(x * y) for _, x, y in chain)
    path = write_svg(tmp_path / "a", body)
    area = sum(o.area for o in read_outlines(path, length=None)) if factor > 1e-2 else None
    if area is not None:
        assert area == pytest.approx(48 * factor, rel=1e-6)


@quick
@given(
    st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz &.,-0123456789", min_size=1, max_size=12),
    st.floats(2, 90),
)
def test_letters_scale_with_their_height(text, height):
    if not text.strip():
        return
    small, large = letter_outlines(text, height), letter_outlines(text, 2 * height, tolerance=0.01)
    assert [o.name for o in small] == [o.name for o in large]
    assert sum(o.area for o in large) == pytest.approx(4 * sum(o.area for o in small), rel=1e-6)
    assert all(shapely.is_valid(o.shape) for o in small)


# --- damage -----------------------------------------------------------------------------------------------------------


def _samples(folder):
    """One small file of each kind: its bytes, and how it is read."""
    rng = np.random.default_rng(5)
    values = rng.integers(0, 65536, (24, 30))
    heightmap = lambda p: read_artwork(p, length=30.0, depth=4.0)  # noqa: E731
    jpeg = io.BytesIO()
    Image.fromarray((values // 256).astype("u1")).save(jpeg, format="JPEG")
    mesh = grid_mesh(rng.random((6, 7)))
    svg = SVG.format(
        head='width="90mm" viewBox="0 0 90 60"',
        body='<style>.a{fill:none;stroke:red}</style><g transform="rotate(9)"><path class="a" d="M1 2 A 5 6 7 0 1 9 9 '
        'C 1 2 3 4 5 6 z"/><use href="#k"/></g><rect id="k" width="9" height="4" rx="1"/>',
    )
    import ezdxf

    document = ezdxf.new(units=4)
    document.modelspace().add_lwpolyline([(0, 0, 0, 0, 0.3), (9, 0), (9, 9)], close=True)
    document.modelspace().add_spline([(20, 0), (22, 3), (24, 0)])
    document.saveas(folder / "whole.dxf")
    yield "png", write_png(folder / "w1", values, 16).read_bytes(), heightmap
    yield "png", write_png(folder / "w2", np.dstack([values] * 4), 16).read_bytes(), heightmap
    yield "tif", write_tiff(folder / "w3", values.astype("u2")).read_bytes(), heightmap
    yield "tif", write_tiff(folder / "w4", values.astype("f4"), compression="zlib").read_bytes(), heightmap
    yield "jpg", jpeg.getvalue(), heightmap
    yield "stl", write_stl(folder / "w5", mesh).read_bytes(), heightmap
    yield "stl", write_stl(folder / "w6", mesh, text=True).read_bytes(), heightmap
    yield "ply", write_ply(folder / "w7", mesh).read_bytes(), heightmap
    yield "ply", write_ply(folder / "w8", mesh, "ascii").read_bytes(), heightmap
    yield "svg", svg.encode(), read_outlines
    yield "dxf", (folder / "whole.dxf").read_bytes(), read_outlines


def _damaged(data, rng):
    """Cut off, bytes flipped, a stretch made random, a stretch taken out."""
    kind = rng.integers(4)
    out = bytearray(data)
    at, long = int(rng.integers(len(out))), int(rng.integers(1, 40))
    if kind == 0:
        del out[at:]
    elif kind == 1:
        for _ in range(int(rng.integers(1, 9))):
            out[int(rng.integers(len(out)))] ^= int(rng.integers(1, 256))
    elif kind == 2:
        out[at : at + long] = rng.bytes(len(out[at : at + long]))
    else:
        del out[at : at + long]
    return bytes(out)


SAMPLES = ["png", "png", "tif", "tif", "jpg", "stl", "stl", "ply", "ply", "svg", "dxf"]


@pytest.mark.parametrize("number", range(len(SAMPLES)), ids=lambda n: f"{SAMPLES[n]}{n}")
def test_damaged_files_are_read_or_refused_with_name_and_remedy(tmp_path, number):
    """Forty kinds of damage each; what carries checksums (PNG) is never read as something else."""
    name, data, read = list(_samples(tmp_path))[number]
    whole = tmp_path / f"whole.{name}"
    whole.write_bytes(data)
    wanted = read(whole)
    rng = np.random.default_rng(number)
    refused = 0
    for k in range(40):
        path = tmp_path / f"damaged{k}.{name}"
        broken = _damaged(data, rng)
        path.write_bytes(broken)
        started = time.perf_counter()
        try:
            found = read(path)
            assert name != "png" or np.array_equal(found.map.z, wanted.map.z)
        except InputError as error:
            refused += 1
            for fault in error.faults:
                assert path.name in str(fault)
                assert fault.remedy
                assert "\n" not in str(fault)
        assert time.perf_counter() - started < 20
    assert refused >= (3 if name in ("tif", "jpg", "svg") else 10)


def test_random_bytes_behind_every_beginning_are_refused(tmp_path):
    beginnings = [
        b"", b"\x89PNG\r\n\x1a\n", b"II*\x00", b"MM\x00*", b"II+\x00", b"\xff\xd8\xff\xe0", b"ply\nformat ascii 1.0\n",
        b"solid x\nfacet normal", b"<svg", b"0\nSECTION\n", b"GIF89a", b"PK\x03\x04",
    ]  # fmt: skip
    rng = np.random.default_rng(6)
    for k in range(120):
        path = tmp_path / f"random{k}"
        path.write_bytes(beginnings[k % len(beginnings)] + rng.bytes(int(rng.integers(0, 3000))))
        for read in (lambda p: read_artwork(p, length=30.0, depth=4.0), read_outlines):
            with pytest.raises(InputError) as caught:
                read(path)
            assert all(path.name in str(f) and f.remedy for f in caught.value.faults)
