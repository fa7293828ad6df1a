"""Recordings are heard as they were made: the sound is written here, from its own figures."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import chirp

from shopcalc.cli import main
from shopcalc.errors import InputError
from shopcalc.listening import Heard, hear, open_recording, to_entries
from shopcalc.shoplog import Observation, TimeEntry

RATE = 16000
CUTS = ((5.0, 10.0), (12.0, 13.5), (15.0, 22.0))  # [s]


def run(
    seed=0, flutes=2, air=18000.0, load=17500.0, noise=0.01, hum=0.0, drift=0.0, chatter=0.0, chatter_at=1370.0,
    runout=0.0, rate=RATE, seconds=28.0,
):  # fmt: skip
    """A run: at rest to 2 s, at speed from 3 s, three cuts, slowing from 25 s, at rest from 26 s."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * rate)) / rate
    inside = np.interp(t, np.ravel([(a - 0.02, a, b, b + 0.02) for a, b in CUTS]), [0, 1, 1, 0] * len(CUTS))
    speed = np.interp(t, [2, 3, 25, 26], [0, 1, 1, 0]) * (air + (load - air) * inside) * (1 + drift * t / seconds)
    turn = 2 * np.pi * np.cumsum(speed / 60) / rate
    level = (speed > 0) * (0.02 + 0.10 * inside)
    tone = sum(np.sin(h * flutes * turn + rng.uniform(0, 6)) / h**1.5 for h in (1, 2, 3, 4))
    sound = level * (tone + runout * np.sin(turn))
    sound += noise * rng.standard_normal(t.size) * (1 + 3 * inside)
    for k in (1, 2, 3, 5):
        sound += 0.05 / k * np.sin(2 * np.pi * hum * k * t) * (hum > 0)
    sound += chatter * np.sin(2 * np.pi * chatter_at * t) * ((t > 17) & (t < 20))
    return sound


def heard(tmp_path: Path, said=2, programmed=18000.0, rate=RATE, **figures) -> Heard:
    sound = run(rate=rate, **figures)
    wavfile.write(tmp_path / "run.wav", rate, (sound * 32767).clip(-32768, 32767).astype(np.int16))
    return hear(tmp_path / "run.wav", said, programmed)


@pytest.mark.parametrize("noise", [0.001, 0.01, 0.03])
@pytest.mark.parametrize("hum", [0.0, 50.0, 60.0])
def test_speed_and_seconds_come_back(tmp_path, noise, hum):
    found = heard(tmp_path, noise=noise, hum=hum)
    assert found.speed_air == pytest.approx(18000, rel=0.01)
    assert found.speed_cutting == pytest.approx(17500, rel=0.01)
    assert abs(found.speed_cutting - 17500) < found.speed_within
    assert found.drop == pytest.approx(500 / 18000, abs=0.01)
    assert abs(found.cutting - 13.5) < found.cutting_within
    assert abs(found.air - (22 - 13.5)) < found.cutting_within + 2 * found.start_within
    assert [round(c.begins) for c in found.cuts] == [5, 12, 15]
    assert found.start == pytest.approx(3.0, abs=found.start_within)
    assert found.stop == pytest.approx(25.0, abs=found.start_within)
    assert not found.tones
    assert not found.notes


def test_slow_drift_is_followed(tmp_path):
    found = heard(tmp_path, drift=0.02)
    assert found.speed_air == pytest.approx(18000 * 1.01, rel=0.01)
    assert not found.tones


@pytest.mark.parametrize("seed", range(50))
def test_chatter_is_flagged_where_planted_and_nowhere_else(tmp_path, seed):
    rng = np.random.default_rng(seed)
    air = rng.uniform(12000, 20000)
    figures = dict(seed=seed, air=air, load=air * rng.uniform(0.95, 1.0), flutes=int(rng.integers(1, 4)), noise=0.01)
    common = dict(said=figures["flutes"], programmed=air * rng.uniform(0.97, 1.03)) | figures
    assert not heard(tmp_path, **common).tones
    turn = figures["load"] / 60
    at = turn * (rng.integers(3, 9) + rng.uniform(0.35, 0.65))
    found = heard(tmp_path, chatter=0.06, chatter_at=at, **common).tones
    assert len(found) == 1
    assert found[0].frequency == pytest.approx(at, abs=found[0].within)
    assert found[0].when.begins == pytest.approx(17, abs=0.4)
    assert found[0].when.ends == pytest.approx(20, abs=0.4)
    assert found[0].against_tooth == pytest.approx(20 * np.log10(0.06 / 0.12), abs=3)


@pytest.mark.parametrize(("true", "said"), [(3, 2), (2, 3), (4, 2), (2, 4), (1, 2)])
def test_wrong_flutes_are_told(tmp_path, true, said):
    found = heard(tmp_path, said=said, flutes=true)
    assert any("flutes" in n for n in found.notes)
    assert found.speed_cutting == pytest.approx(17500, rel=0.01)


def test_runout_is_told_and_does_not_move_the_speed(tmp_path):
    found = heard(tmp_path, runout=4.0)
    assert any("runout" in n for n in found.notes)
    assert found.speed_cutting == pytest.approx(17500, rel=0.01)


def test_another_sound_has_no_speed(tmp_path):
    rng = np.random.default_rng(1)
    wavfile.write(tmp_path / "wind.wav", RATE, (3000 * rng.standard_normal(RATE * 20)).astype(np.int16))
    found = hear(tmp_path / "wind.wav", 2, 18000.0)
    assert found.speed_air is None
    assert found.cutting is None
    assert "no tooth tone" in found.as_text()
    assert not to_entries(found, "reed-bed-chest", "rail-ends")


def test_log_entries_and_words(tmp_path):
    found = heard(tmp_path, chatter=0.08)
    time, seen = to_entries(found, "reed-bed-chest", "rail-ends", load=1)
    assert isinstance(time, TimeEntry)
    assert isinstance(seen, Observation)
    assert time.seconds == pytest.approx(22, abs=2 * found.start_within)
    assert seen.what == "sound"
    text = found.as_text("inch")
    order = [text.index(w) for w in ("stop the feed", "stop the spindle", "look at")]
    assert order == sorted(order)
    assert found.as_json()["tones"][0]["frequency"] == found.tones[0].frequency


def _write(path, samples, *, codec, bits, rate=RATE, extensible=False):
    """A WAV file by its published layout, independent of any reader."""
    channels = samples.shape[1]
    if codec == 3:
        raw = samples.astype(f"<f{bits // 8}").tobytes()
    elif bits == 8:
        raw = np.round(samples * 127 + 128).astype(np.uint8).tobytes()
    else:
        whole = np.round(samples * (2.0 ** (bits - 1) - 1)).astype("<i8")
        raw = whole.reshape(-1, 1).view(np.uint8)[:, : bits // 8].tobytes()
    step = channels * bits // 8
    form = struct.pack("<HHIIHH", 0xFFFE if extensible else codec, channels, rate, rate * step, step, bits)
    if extensible:
        form += struct.pack("<HHIH", 22, bits, 0, codec) + bytes.fromhex("000000001000800000aa00389b71")
    body = b"WAVE" + b"LIST" + struct.pack("<I", 3) + b"odd\0" + b"fmt " + struct.pack("<I", len(form)) + form
    body += b"data" + struct.pack("<I", len(raw)) + raw
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)


@pytest.mark.parametrize(("codec", "bits"), [(1, 8), (1, 16), (1, 24), (1, 32), (3, 32), (3, 64)])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("extensible", [False, True])
def test_every_sample_format_is_read(tmp_path, codec, bits, channels, extensible):
    sound = 0.5 * chirp(np.arange(4 * RATE) / RATE, 100, 4, 3000)
    both = np.stack([sound, -sound][:channels], axis=1)
    _write(tmp_path / "a.wav", both, codec=codec, bits=bits, extensible=extensible)
    found = np.concatenate(list(open_recording(tmp_path / "a.wav").pieces(999)))
    assert found.shape == both.shape
    assert np.abs(found - both).max() < 2.0 ** (2 - min(bits, 24))


@pytest.mark.parametrize("rate", [8000, 44100, 96000])
def test_every_rate_and_opposed_channels_are_heard(tmp_path, rate):
    sound = run(rate=rate)
    _write(tmp_path / "a.wav", np.stack([sound, -sound], axis=1), codec=3, bits=32, rate=rate)
    found = hear(tmp_path / "a.wav", 2, 18000.0)
    assert found.speed_cutting == pytest.approx(17500, rel=0.01)
    assert abs(found.cutting - 13.5) < found.cutting_within


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (b"ID3\x04" + bytes(50), "MP3"),
        (bytes(4) + b"ftypM4A " + bytes(50), "compressed"),
        (b"OggS" + bytes(50), "Ogg"),
        (b"hello, this is text", "no WAV"),
        (b"RIFF\0\0\0\0WAVE", "no sound"),
        (b"RIFF\0\0\0\0WAVEfmt \x02\0\0\0\1\0data\0\0\0\0", "cut off"),
        (
            b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0" + struct.pack("<HHIIHH", 2, 1, 48000, 0, 0, 4) + b"data\0\0\0\0",
            "compressed",
        ),
        (
            b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0" + struct.pack("<HHIIHH", 1, 6, 48000, 0, 0, 16) + b"data\0\0\0\0",
            "channels",
        ),
        (b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0" + struct.pack("<HHIIHH", 1, 1, 48000, 0, 0, 12) + b"data\0\0\0\0", "12 bit"),
        (
            b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0" + struct.pack("<HHIIHH", 1, 1, 0, 0, 0, 16) + b"data\0\0\0\0",
            "samples a sec",
        ),
        (
            b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0" + struct.pack("<HHIIHH", 1, 1, 48000, 0, 0, 16) + b"data\0\0\0\0",
            "no sound",
        ),
        (b"RIFF\0\0\0\0WAVEdata\xff\xff\xff\xff", "no sound"),
    ],
)
def test_what_is_no_recording_is_refused_with_a_remedy(tmp_path, content, word):
    (tmp_path / "a.wav").write_bytes(content)
    with pytest.raises(InputError, match=word) as e:
        hear(tmp_path / "a.wav", 2, 18000.0)
    assert all(f.remedy and f.file for f in e.value.faults)


@pytest.mark.parametrize(
    ("sound", "word"),
    [
        (np.zeros(5 * RATE), "silent"),
        (np.clip(3 * np.sin(np.arange(5 * RATE) / 5), -1, 1), "clipped"),
        (np.full(5 * RATE, np.nan), "no number"),
        (np.sin(np.arange(RATE) / 5) / 2, "too short"),
    ],
)
def test_useless_sound_is_refused(tmp_path, sound, word):
    _write(tmp_path / "a.wav", sound[:, None], codec=3, bits=32)
    with pytest.raises(InputError, match=word):
        hear(tmp_path / "a.wav", 2, 18000.0)


def test_bad_flutes_and_speed_are_told_at_once_and_a_cut_off_file_is_noted(tmp_path):
    with pytest.raises(InputError) as e:
        hear(tmp_path / "none.wav", 0, float("nan"))
    assert len(e.value.faults) == 2
    with pytest.raises(InputError, match="cannot be read"):
        hear(tmp_path / "none.wav", 2, 18000.0)
    _write(tmp_path / "a.wav", run()[:, None], codec=1, bits=16)
    (tmp_path / "a.wav").write_bytes((tmp_path / "a.wav").read_bytes()[: -5 * RATE - 1])
    assert any("cut off" in n for n in hear(tmp_path / "a.wav", 2, 18000.0).notes)


def test_whine_of_an_extractor_is_no_chatter_and_an_even_run_has_no_cutting_seconds(tmp_path):
    t = np.arange(28 * RATE) / RATE
    whine = run() + 0.05 * np.sin(2 * np.pi * 1370 * t)
    _write(tmp_path / "a.wav", whine[:, None], codec=3, bits=32)
    assert not hear(tmp_path / "a.wav", 2, 18000.0).tones
    even = 0.1 * np.sin(2 * np.pi * 600 * t) + 0.01 * np.random.default_rng(3).standard_normal(t.size)
    _write(tmp_path / "b.wav", even[:, None], codec=3, bits=32)
    found = hear(tmp_path / "b.wav", 2, 18000.0)
    assert found.cutting is None
    assert found.speed_air == pytest.approx(18000, rel=0.01)
    assert any("sound alike" in n for n in found.notes)


def test_picture_shows_the_cuts_and_the_chatter(tmp_path):
    from shopcalc.controls.listening_picture import listening_figure

    found = heard(tmp_path, chatter=0.08)
    picture = listening_figure(tmp_path / "run.wav", found)
    shaded = [s for s in picture.layout.shapes if s.yref == "y2"]
    assert [(s.x0, s.x1) for s in shaded] == [(c.begins, c.ends) for c in found.cuts]
    assert any("1,3" in (a.text or "") for a in picture.layout.annotations)
    level = picture.data[-1]
    inside = np.any([(np.array(level.x) > a) & (np.array(level.x) < b) for a, b in CUTS], axis=0)
    assert np.median(level.y[inside]) > np.median(level.y[~inside]) + 6


def test_chatter_at_a_multiple_of_the_speed_in_air_is_flagged(tmp_path):
    found = heard(tmp_path, air=18738.0, load=17913.0, programmed=18000.0, chatter=0.06, chatter_at=8 * 18738 / 60)
    assert [round(t.frequency) for t in found.tones] == [pytest.approx(2498.4, abs=5)]


def test_the_command_tells_and_logs(tmp_path, capsys):
    heard(tmp_path, chatter=0.08)
    shop = ["--shop", str(tmp_path / "shop")]
    assert main(["new", str(tmp_path / "shop")]) == 0
    said = ["log", "hear", str(tmp_path / "run.wav"), "--flutes", "2", "--rpm", "18000 rpm", "--operator", "Ann", *shop]
    capsys.readouterr()
    assert main([*said, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert "entries" not in data
    assert data["heard"]["speed_cutting"] == pytest.approx(17500, rel=0.01)
    assert main([*said, "--job", "reed-bed-chest", "--program", "rail-ends"]) == 0
    assert "possible chatter" in capsys.readouterr().out
    assert main(["log", "list", *shop]) == 0
    told = capsys.readouterr().out
    assert "sound" in told
    assert "rail-ends" in told
    assert main([*said[:-4], *shop, "--rpm", "18000 mm"]) == 2
