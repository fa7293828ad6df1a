"""Images become heights exactly, or are refused; sizes, thinning, terraces and what is said of them.

The files are written by other libraries (pypng, tifffile) than the one that reads them.
"""

import importlib.util
import itertools
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from artwork_files import write_png, write_stl, write_tiff
from PIL import Image
from refusals import faults_of

from shopcalc.relief.artwork import file_kind, read_artwork
from shopcalc.relief.heights import sampled
from shopcalc.relief.images import read_picture
from shopcalc.relief.terraces import Terraces, find_terraces, smoothed

DATA = Path(__file__).parents[1] / "data"
ROWS, COLUMNS = 13, 21


def random_levels(white, seed=1, shape=(ROWS, COLUMNS)):
    values = np.random.default_rng(seed).integers(0, white + 1, shape)
    values.flat[0], values.flat[1] = 0, white
    return values


def wanted(values, white, depth):
    """Heights by definition: white at 0, black at the depth, row 0 lowest y."""
    return ((values / white) - 1)[::-1] * depth


@pytest.mark.parametrize("interlace", [False, True])
@pytest.mark.parametrize("bits", [1, 2, 4, 8, 16])
def test_grey_png_of_every_depth_is_exact(tmp_path, bits, interlace):
    white = (1 << bits) - 1
    values = random_levels(white)
    art = read_artwork(write_png(tmp_path / "a", values, bits, interlace=interlace), length=42.0, depth=7.0)
    assert np.allclose(art.map.z, wanted(values, white, 7.0), rtol=0, atol=1e-12)
    assert (art.map.pixel, art.map.width, art.kind) == (2.0, 26.0, f"{bits}-bit grey PNG")


@pytest.mark.parametrize("interlace", [False, True])
@pytest.mark.parametrize("channels", [2, 3, 4])
@pytest.mark.parametrize("bits", [8, 16])
def test_png_channels_that_the_library_cuts_to_8_bits_are_read_whole(tmp_path, bits, channels, interlace):
    values = random_levels((1 << bits) - 1)
    planes = np.dstack([values] * channels)
    if channels in (2, 4):
        planes[..., -1] = (1 << bits) - 1
    picture = read_picture(write_png(tmp_path / "a", planes, bits, interlace=interlace), "PNG")
    assert np.array_equal(picture.grey, values)
    assert picture.seen is None


TIFFS = list(itertools.product("<>", (None, "zlib"), ("u1", "i1", "u2", "i2", "u4", "i4", "f4")))


@pytest.mark.parametrize(("order", "compression", "kind"), TIFFS)
def test_tiff_is_exact_or_refused(tmp_path, order, compression, kind):
    """Big-endian compressed signed, 32-bit and float values come back swapped from the library itself."""
    rng = np.random.default_rng(2)
    values = rng.normal(0, 300, (40, 50)) if kind == "f4" else rng.integers(*_span(kind), (40, 50), endpoint=True)
    values = values.astype(kind)
    path = write_tiff(tmp_path / "a", values, byteorder=order, compression=compression)
    if (order, kind) == (">", "u4"):
        assert "could not be read exactly" in faults_of(read_picture, path, "TIFF")[0].message
        return
    assert np.array_equal(read_picture(path, "TIFF").grey, values)


def _span(kind):
    info = np.iinfo(kind)
    return info.min, info.max


@pytest.mark.parametrize(("order", "compression"), list(itertools.product("<>", (None, "zlib"))))
@pytest.mark.parametrize("kind", ["u1", "u2"])
def test_tiff_colour_and_white_stored_as_0(tmp_path, order, compression, kind):
    values = random_levels(np.iinfo(kind).max, shape=(30, 44)).astype(kind)
    form = {"byteorder": order, "compression": compression}
    rgb = write_tiff(tmp_path / "a", np.dstack([values] * 3), photometric="rgb", **form)
    assert np.array_equal(read_picture(rgb, "TIFF").grey, values)
    path = write_tiff(tmp_path / "b", values, photometric="miniswhite", **form)
    if (order, kind) == (">", "u2"):
        assert "could not be read exactly" in faults_of(read_picture, path, "TIFF")[0].message
    else:
        assert np.array_equal(read_picture(path, "TIFF").grey, np.iinfo(kind).max - values)


def test_tiff_in_tiles_planes_lzw_and_16_bit_alpha(tmp_path):
    values = random_levels(65535, shape=(40, 50)).astype("u2")
    assert np.array_equal(read_picture(write_tiff(tmp_path / "a", values, tile=(16, 16)), "TIFF").grey, values)
    Image.fromarray(values).save(tmp_path / "b.tif", compression="tiff_lzw")
    assert np.array_equal(read_picture(tmp_path / "b.tif", "TIFF").grey, values)
    planes = write_tiff(tmp_path / "c", np.stack([values] * 3), photometric="rgb", planarconfig="separate")
    assert "16-bit grey PNG" in faults_of(read_picture, planes, "TIFF")[0].remedy
    rgba = np.dstack([values] * 4)
    path = write_tiff(tmp_path / "d", rgba, photometric="rgb", extrasamples=["unassalpha"])
    assert np.array_equal(read_picture(path, "TIFF").grey, values)


@pytest.mark.parametrize("mark", range(1, 9))
def test_the_orientation_mark_turns_the_picture(tmp_path, mark):
    """Exif 2.3, tag 274: where row 0 and column 0 lie (from memory of its table)."""
    values = random_levels(65535, shape=(30, 44)).astype("u2")
    upright = {
        1: values, 2: values[:, ::-1], 3: values[::-1, ::-1], 4: values[::-1], 5: values.T, 6: np.rot90(values, -1),
        7: values.T[::-1, ::-1], 8: np.rot90(values),
    }[mark]  # fmt: skip
    path = write_tiff(tmp_path / "a", values, extratags=[(274, "H", 1, mark, True)])
    assert np.array_equal(read_picture(path, "TIFF").grey, upright)
    exif = Image.Exif()
    exif[274] = mark
    Image.fromarray(values.astype("u1")).save(tmp_path / "b.png", exif=exif)
    assert np.array_equal(read_picture(tmp_path / "b.png", "PNG").grey, upright.astype("u1"))


def test_colour_is_refused_with_the_place(tmp_path):
    planes = np.dstack([random_levels(255)] * 3)
    planes[3, 5, 2] ^= 64
    (fault,) = faults_of(lambda p: read_artwork(p, length=10.0, depth=3.0), write_png(tmp_path / "a", planes, 8))
    assert "column 6, row 4" in fault.message
    assert "height map" in fault.remedy


def test_palettes_of_greys_are_read_and_of_colours_refused(tmp_path):
    values = random_levels(3)
    greys = [(0, 0, 0), (85, 85, 85), (170, 170, 170), (255, 255, 255)]
    path = write_png(tmp_path / "a", values, 2, palette=greys, greyscale=False)
    assert np.array_equal(read_picture(path, "PNG").grey, values * 85)
    path = write_png(tmp_path / "b", values, 2, palette=[*greys[:3], (255, 0, 0)], greyscale=False)
    assert "coloured" in faults_of(read_picture, path, "PNG")[0].message


@pytest.mark.parametrize("bits", [8, 16])
def test_transparent_parts_lie_lowest_or_on_top_and_half_ones_between(tmp_path, bits):
    white = (1 << bits) - 1
    values = np.full((4, 6), white // 3 * 2)
    values[0], values[1] = white, white // 3
    opacity = np.full_like(values, white)
    opacity[2], opacity[3] = 0, white // 15 * 5
    path = write_png(tmp_path / "a", np.dstack([values, opacity]), bits)
    low = read_artwork(path, length=6.0, depth=8.0)
    top = read_artwork(path, length=6.0, depth=8.0, transparent="top")
    share = (values[3, 0] - white // 3) / (white - white // 3)
    assert low.map.z[:, 0] == pytest.approx([-8 + 8 * share / 3, -8, -8, 0], abs=1e-5)
    assert top.map.z[:, 0] == pytest.approx([-8 * (1 - share) / 3, 0, -8, 0], abs=1e-5)
    assert any("can stay at the stock's top" in n for n in low.notes)
    assert any("stock's top" in n for n in top.notes)


def test_a_transparent_grey_value_is_transparent(tmp_path):
    values = random_levels(15)
    picture = read_picture(write_png(tmp_path / "a", values, 4, transparent=7), "PNG")
    assert np.array_equal(picture.seen == 0, values == 7)


def test_holes_in_a_float_tiff_count_as_transparent(tmp_path):
    values = np.linspace(0, 5, 60).reshape(6, 10).astype("f4")
    values[2, 3] = np.nan
    art = read_artwork(write_tiff(tmp_path / "a", values), length=10.0, depth=2.0)
    assert art.map.z[3, 3] == -2.0
    assert any("no numbers" in n for n in art.notes)


def test_jpeg_is_taken_with_a_warning(tmp_path):
    Image.fromarray(random_levels(255, shape=(64, 64)).astype("u1")).save(tmp_path / "a.png", format="JPEG")
    art = read_artwork(tmp_path / "a.png", length=10.0, depth=3.0)
    assert art.kind == "JPEG"
    assert any("8 x 8" in n for n in art.notes)


def test_sizes_follow_from_each_other_and_must_agree(tmp_path):
    path = write_png(tmp_path / "a", random_levels(255, shape=(200, 300)), 8)
    assert read_artwork(path, width=100.0, depth=3.0).map.length == 150.0
    art = read_artwork(path, length=150.0, width=100.6, depth=3.0)
    assert art.map.width == pytest.approx(100.6, abs=0.5)
    assert any("stretched" in n for n in art.notes)
    for sizes, word in (({"length": 150.0, "width": 102.0}, "150 mm and width 102 mm"), ({}, "neither")):
        (fault,) = faults_of(lambda p, s=sizes: read_artwork(p, depth=3.0, **s), path)
        assert word in fault.message
    (fault,) = faults_of(lambda p: read_artwork(p, length=150.0, depth=None), path)
    assert "no depth" in fault.message
    (fault,) = faults_of(lambda p: read_artwork(p, length=-1.0, depth=1.0), path)
    assert "length" in fault.message


def test_pixels_that_are_not_square_are_made_square(tmp_path):
    x = np.mgrid[0:40, 0:60][1]
    path = tmp_path / "a.png"
    Image.fromarray((x * 4).astype("u1")).save(path, dpi=(100, 200))
    art = read_artwork(path, length=60.0, depth=3.0)
    assert (art.map.length, art.map.width) == (60.0, 20.0)
    assert any("0.5 times as high as wide" in n for n in art.notes)


def test_thinning_keeps_the_mean_and_refining_keeps_a_ramp(tmp_path):
    values = random_levels(65535, shape=(90, 150))
    path = write_png(tmp_path / "a", values, 16)
    full = read_artwork(path, length=150.0, depth=10.0)
    thin = read_artwork(path, length=150.0, depth=10.0, pixel=3.0)
    blocks = full.map.z.reshape(30, 3, 50, 3).mean(axis=(1, 3))
    assert np.allclose(thin.map.z, blocks, rtol=0, atol=1e-9)
    odd = read_artwork(path, length=150.0, depth=10.0, pixel=3.7)
    assert odd.map.z.mean() == pytest.approx(full.map.z.mean(), abs=0.05)
    ramp = np.tile(np.arange(150) * 400, (90, 1))
    fine = read_artwork(write_png(tmp_path / "b", ramp, 16), length=150.0, depth=10.0, pixel=0.25)
    inner = (fine.map.x > 0.5) & (fine.map.x < 149.5)
    assert np.allclose(fine.map.z[:, inner], ((fine.map.x - 0.5) / 149 - 1)[inner] * 10, rtol=0, atol=1e-9)
    assert any("no detail is added" in n for n in fine.notes)
    (fault,) = faults_of(lambda p: read_artwork(p, length=150.0, depth=1.0, pixel=0.001), path)
    assert "squares of at least" in fault.remedy


def _claimed_png(path, columns, rows):
    """A PNG of one grey, far smaller than what it unpacks to."""
    packed = zlib.compressobj(9)
    line = b"\0" + bytes(columns)
    body = b"".join([packed.compress(line) for _ in range(rows)] + [packed.flush()])
    head = struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0)
    parts = [(b"IHDR", head), (b"IDAT", body), (b"IEND", b"")]
    data = b"".join(struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d)) for n, d in parts)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + data)
    return path


@pytest.mark.benchmark
def test_twenty_thousand_squared_is_thinned(tmp_path):
    """20 000 x 20 000: read whole, thinned by area means, in bounded memory."""
    art = read_artwork(_claimed_png(tmp_path / "a", 20_000, 20_000), length=1000.0, depth=5.0, pixel=1.0)
    assert art.map.z.shape == (1000, 1000)


def test_more_than_the_bound_is_refused_with_the_size_to_use(tmp_path):
    path = _claimed_png(tmp_path / "a", 100, 3)
    data = bytearray(path.read_bytes())
    data[16:24] = struct.pack(">II", 60_000, 60_000)
    data[29:33] = struct.pack(">I", zlib.crc32(bytes(data[12:29])))
    path.write_bytes(bytes(data))
    (fault,) = faults_of(lambda p: read_artwork(p, length=100.0, depth=3.0), path)
    assert "60000 x 60000 pixels are too many" in fault.message
    assert "31622 x 31622" in fault.remedy


def test_what_is_no_artwork_is_named(tmp_path):
    for head, word in (
        (b"GIF89a...", "GIF"), (b"BM......", "BMP"), (b"%PDF-1.7", "PDF"), (b"", "empty"), (b"hello there", "no image"),
        (b"PK\x03\x04...", "packed"), (b"<svg></svg>", "outlines"), (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "OBJ"),
    ):  # fmt: skip
        path = tmp_path / "a.png"
        path.write_bytes(head)
        assert word in faults_of(file_kind, path)[0].message
    assert "no such file" in faults_of(file_kind, tmp_path / "none.png")[0].message
    assert "folder" in faults_of(file_kind, tmp_path)[0].message


def test_flat_empty_inverted_and_narrow_are_told(tmp_path):
    flat = read_artwork(write_png(tmp_path / "a", np.full((20, 30), 99), 8), length=30.0, depth=3.0)
    assert any("flat" in n for n in flat.notes)
    assert not flat.map.z.any()
    clear = np.dstack([random_levels(255), np.zeros((ROWS, COLUMNS), int)])
    (fault,) = faults_of(lambda p: read_artwork(p, length=30.0, depth=3.0), write_png(tmp_path / "b", clear, 8))
    assert "empty" in fault.message
    y, x = np.mgrid[-1:1:60j, -1.5:1.5:90j]
    bump = np.rint(50 + 100 * np.exp(-4 * (x * x + y * y))).astype(int)
    art = read_artwork(write_png(tmp_path / "c", bump, 8), length=90.0, depth=3.0)
    assert any(f"from 50 to {bump.max()} of 0 to 255" in n for n in art.notes)
    assert not any("black is high here: invert it" in n for n in art.notes)
    sunk = write_png(tmp_path / "d", 255 - bump, 8)
    assert any("black is high here: invert it" in n for n in read_artwork(sunk, length=90.0, depth=3.0).notes)
    turned = read_artwork(sunk, length=90.0, depth=3.0, invert=True)
    assert np.allclose(turned.map.z, art.map.z, rtol=0, atol=1e-9)


def test_terraces_are_told_in_millimetres_and_smoothed_on_request(tmp_path):
    """256 levels over 12 mm: 12/255 mm a step."""
    x = np.mgrid[0:120, 0:2048][1]
    path = write_png(tmp_path / "a", x // 8, 8)
    art = read_artwork(path, length=409.6, depth=12.0)
    assert art.terraces == Terraces(256, pytest.approx(12 / 255), pytest.approx(1.6))
    assert any("steps of 0.047 mm: 256 levels" in n for n in art.notes)
    quiet = read_artwork(path, length=409.6, depth=12.0, smooth=False)
    assert quiet.terraces is None
    assert not any("steps" in n for n in quiet.notes)
    ramp = (art.map.x - 204.8) / 409.6 * 12 * 256 / 255 - 6
    done = read_artwork(path, length=409.6, depth=12.0, smooth=True)
    inner = slice(20, -20)
    assert np.abs(done.map.z - ramp)[:, inner].max() < 0.1 * np.abs(art.map.z - ramp)[:, inner].max()
    finer = read_artwork(write_png(tmp_path / "b", x * 32, 16), length=409.6, depth=12.0)
    assert finer.terraces is None


SURFACES = {
    "dome": lambda x, y: -((x - 25) ** 2 + (y - 20) ** 2) / 150,
    "wave": lambda x, y: -2 + np.sin(x / 4.5) * np.cos(y / 3.5) * 1.5,
    "ramp": lambda x, y: -x / 10 - y / 25,
}


@pytest.mark.parametrize("name", SURFACES)
def test_smoothing_comes_nearer_to_the_true_surface(name):
    true = sampled(SURFACES[name], 50.0, 40.0, pixel=0.1)
    stored = true.with_(np.round(true.z / 0.05) * 0.05)
    done = smoothed(stored)
    assert find_terraces(stored).step == pytest.approx(0.05)
    assert np.abs(done.z - stored.z).max() <= 0.025 + 1e-12
    assert (done.z - true.z).std() < 0.4 * (stored.z - true.z).std()
    assert (done.z.max(), done.z.min()) == (
        pytest.approx(stored.z.max(), abs=0.025),
        pytest.approx(stored.z.min(), abs=0.025),
    )


def test_smoothing_keeps_real_edges_and_steep_faces():
    true = sampled(
        lambda x, y: -x / 20 - np.where(y > 20, 3.0, 0.0) - np.where(x > 25, 2.0, 0.0), 50.0, 40.0, pixel=0.1
    )
    stored = true.with_(np.round(true.z / 0.05) * 0.05)
    done = smoothed(stored)
    edge = np.abs(np.diff(stored.z, axis=0)) > 1
    assert np.abs(np.diff(done.z, axis=0))[edge].min() > 3 - 0.05
    assert smoothed(true) is true


def test_a_stencil_and_noise_have_no_terraces():
    stencil = sampled(lambda x, y: np.where((x // 5 + y // 5) % 2 == 0, 0.0, -1.0), 50.0, 40.0, pixel=0.2)
    noise = stencil.with_(np.random.default_rng(3).integers(0, 256, stencil.z.shape) / 255 - 1.0)
    assert find_terraces(stencil) is None
    assert find_terraces(noise) is None


def _maker():
    spec = importlib.util.spec_from_file_location("make_demo_reliefs", DATA / "make_demo_reliefs.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_demo_heron_is_what_its_script_draws_and_says_that_it_is_invented(tmp_path):
    """To one level in ten thousand: another computer may round the last bit otherwise."""
    maker, path = _maker(), DATA / "reliefs" / "heron.png"
    stored = np.asarray(Image.open(path)).astype(int)
    assert np.abs(stored - maker.grey()).max() <= 4
    with Image.open(path) as image:
        assert "Invented demo artwork" in image.text["Description"]
    maker.write(tmp_path / "a.png")
    with Image.open(tmp_path / "a.png") as again:
        assert np.array_equal(np.asarray(again), maker.grey())
    assert path.stat().st_size < 400_000


def test_the_demo_heron_fits_its_panel_and_needs_no_word_of_warning():
    """12 x 8 1/4 in, 3/8 in deep, as in the demo's job."""
    art = read_artwork(DATA / "reliefs" / "heron.png", length=12 * 25.4, width=8.25 * 25.4, depth=0.375 * 25.4)
    assert art.notes == ()
    assert (art.map.length, art.map.width, art.map.depth) == (
        pytest.approx(304.8),
        pytest.approx(209.55),
        pytest.approx(9.525),
    )


def test_a_mesh_among_images_is_known_by_its_bytes(tmp_path):
    tiny = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 1]]], float)
    assert file_kind(write_stl(tmp_path / "a.png", tiny)) == "binary STL"
    assert file_kind(write_stl(tmp_path / "b.tif", tiny, text=True)) == "ASCII STL"
