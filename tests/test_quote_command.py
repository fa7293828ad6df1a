"""The command quote: what it shows on request, as text and as data, and what it refuses."""

import json
from pathlib import Path

import pytest
from small_job import JOB

from shopcalc.cli import main

SHOWS = {
    "decision": "Take this job?",
    "loads": "Minutes by program and load",
    "order": "Order of loads",
    "days": "Who does what when",
    "wood": "Wood laid out on boards",
    "fits": "What to measure at the bench",
    "quantities": "Price of one against how many",
}


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    path = tmp_path_factory.mktemp("jobs") / "small.toml"
    path.write_text(JOB, encoding="utf-8")
    return str(path)


@pytest.fixture
def said(capsys):
    def run(*words):
        status = main(["quote", *words])
        out, err = capsys.readouterr()
        return status, out, err

    return run


def test_everything_on_request_stands_below_the_quote(job, said):
    status, plain, _ = said(job)
    assert status == 0
    assert not any(title in plain for title in SHOWS.values())
    status, out, _ = said(job, "--show", ",".join(SHOWS), "--quantities", "1,4", "--start", "2027-01-04")
    assert status == 0
    assert out.startswith(plain)
    assert all(title in out for title in SHOWS.values())
    assert "2027-01-04" in out  # a Monday
    assert max(map(len, out.splitlines())) <= 120


def test_the_same_as_data(job, said):
    status, out, err = said(job, "--json", "--show", ",".join(SHOWS), "--offer", "panel=120 USD")
    quote = json.loads(out)
    data = quote["shown"]
    assert (status, err) == (0, "")
    assert set(SHOWS) == set(data)
    assert quote["loads"] == len(data["loads"])
    assert sum(r["setup"] for r in data["loads"]) / 60 == pytest.approx(quote["hours"]["setup"]["best"], abs=0.01)
    assert [r["quantity"] for r in data["quantities"]] == [1, 2, 5, 12, 30]
    assert data["quantities"][0]["asked"] == quote["price"]["asked"]
    assert {s["load"] for s in data["order"]["steps"]} == {
        f"{r['program']}/{r['part']}" for r in data["loads"]
    }  # every load has its place
    assert data["decision"]["offers"][0]["buy"] == 120
    assert sum(r["hours"] for r in data["days"]["by_day"] if r["who"] == "machine") > quote["machine_minutes"] / 60


def test_an_offer_alone_shows_that_alone(job, said):
    _, out, _ = said(job, "--offer", "panel=120 USD", "--offer", "short=4.50 USD")
    assert "Make or buy" in out
    assert "Take this job?" not in out
    assert " 9 " in out[out.index("Make or buy") :]  # two of them


def test_what_changed_since_an_earlier_quote(job, said, tmp_path):
    _, out, _ = said(job, "--json")
    old = tmp_path / "old.json"
    old.write_text(out, encoding="utf-8")
    _, out, _ = said(job, "--against", str(old))
    assert "Look: that quote" not in out
    other = tmp_path / "other.json"
    other.write_text(json.dumps(json.loads(old.read_text(encoding="utf-8")) | {"job": "Gate"}), encoding="utf-8")
    assert "Look: that quote is of 'Gate'" in said(job, "--against", str(other))[1]
    assert "Nothing changed." in out
    more = tmp_path / "more.toml"
    more.write_text(JOB.replace("quantity = 2", "quantity = 3", 1), encoding="utf-8")
    _, out, _ = said(str(more), "--against", str(old), "--json")
    found = {d["what"]: d for d in json.loads(out)["shown"]["against"]}
    assert found["loads"]["after"] - found["loads"]["before"] == 2
    assert found["asked price"]["after"] > found["asked price"]["before"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--show", "decisions"], "there is no 'decisions'"),
        (["--offer", "panel"], "not a part and its price"),
        (["--offer", "panel=120"], "120"),
        (["--offer", "pannel=120 USD"], "there is no part or frame 'pannel'"),
        (["--start", "tomorrow"], "not a day"),
        (["--quantities", "1,none"], "none"),
        (["--quantities", "0"], "0"),
        (["--quantities", "1,3,0"], "0 is not between 1"),
        (["--against", "nowhere.json"], "cannot be read"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(job, said, words, message):
    status, out, err = said(job, *words)
    assert (status, out) == (2, "")
    assert message in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize("text", ["{", "[]", '{"currency": "USD"}'])
def test_what_is_no_quote_is_not_compared(job, said, tmp_path, text):
    path = tmp_path / "x.json"
    path.write_text(text, encoding="utf-8")
    status, _, err = said(job, "--against", str(path))
    assert status == 2
    assert "quote --json" in err


def test_files_hold_what_was_shown(job, said, tmp_path):
    assert said(job, "--show", "order", "--out", str(tmp_path / "q"))[0] == 0
    assert "Order of loads" in (tmp_path / "q" / "quote.txt").read_text(encoding="utf-8")


def test_drawings_of_frames_and_boards_stand_beside_the_quote(said, tmp_path):
    door = Path(__file__).parents[1] / "data" / "jobs" / "pantry-door.toml"
    assert said(str(door), "--show", "wood", "--out", str(tmp_path / "q"))[0] == 0
    names = {p.name for p in (tmp_path / "q").iterdir()}
    assert {"frame-door.svg", "frames-as-parts.toml"} <= names
    assert any(n.startswith("wood-white-oak") for n in names)
    heading = door.read_text(encoding="utf-8").split("[[frames]]")[0]
    again = tmp_path / "again.toml"
    again.write_text(heading + (tmp_path / "q" / "frames-as-parts.toml").read_text(encoding="utf-8"), encoding="utf-8")
    hours = [json.loads(said(str(p), "--json")[1])["hours"]["setup"]["best"] for p in (door, again)]
    assert hours[0] == hours[1]  # the tables are the same job
