"""Job files changed in place: tomllib finds what was asked for, and no line changes that was not meant."""

import copy
import difflib
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.job_file import OpenJobFile, add_table, new_job, read_place, remove, set_value, write_place
from shopcalc.job_file.spans import scan
from shopcalc.jobs import open_job
from shopcalc.shop import Shop, demo_folder

SHOP = Shop.open()
JOBS = [demo_folder() / "jobs" / f"{n}.toml" for n in ("garden-gates", "pantry-door", "reed-bed-chest")]
ODD = '''top = 1 # first
job.name = "dotted"   # kept
"a b".'c' = """many
# no comment
[not.a.header]
"quoted" \\"""" # after
lists = [ # within
  [1, 2,],  # two
  { x = "}", y = ['#', "]"] },
]
when = 1979-05-27 07:32:00 # a day

# about the first
[[parts]] # header
id = 'a'
   indented = "x"
# ends the first

# --- a heading ---

[[programs]]
id = "p"
[[parts]]
id = "b"
[[parts.operations]]
kind = "groove"
[[parts.operations]]
kind = "bore"
# last
'''


def leaves(data, place=()):
    """Every value of parsed tables, with the way to it."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, (*place, key))
    elif isinstance(data, list) and data and all(isinstance(v, dict) for v in data):
        for i, value in enumerate(data):
            yield from leaves(value, (*place, i))
    else:
        yield place, data


def at(data, place):
    for step in place:
        data = data[step]
    return data


def changed(before, after):
    """Lines that went, and lines that came."""
    lines = list(difflib.ndiff(before.splitlines(), after.splitlines()))
    return [x[2:] for x in lines if x[0] == "-"], [x[2:] for x in lines if x[0] == "+"]


TEXTS = [*(p.read_text() for p in JOBS), ODD, ODD.replace("\n", "\r\n").replace('"""many\r\n', '"""many\n')]


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_every_value_stands_where_the_scan_says(text):
    """tomllib is the oracle: the stretch of each place, read alone, is the value."""
    found = scan(text)
    for place, value in leaves(tomllib.loads(text)):
        span = found.values[place]
        assert tomllib.loads("v = " + text[span.begin : span.end])["v"] == value, place


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_change_alters_its_value_and_nothing_else(data):
    text = data.draw(st.sampled_from(TEXTS))
    before = tomllib.loads(text)
    place, _ = data.draw(st.sampled_from(sorted(leaves(before), key=str)))
    value = data.draw(st.one_of(st.text(max_size=12), st.integers(-9, 9), st.booleans(), st.lists(st.text(max_size=4))))
    after = set_value(text, place, value)
    wanted = copy.deepcopy(before)
    at(wanted, place[:-1])[place[-1]] = value
    assert tomllib.loads(after) == wanted
    span = scan(text).values[place]
    assert after.startswith(text[: span.begin])
    assert after.endswith(text[span.end :])


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_what_is_added_and_taken_out_again_leaves_the_text_as_it_was(data):
    text = data.draw(st.sampled_from(TEXTS))
    found = tomllib.loads(text)
    tables = [p for p in scan(text).headers if isinstance(at(found, p), dict)]
    table = data.draw(st.sampled_from(tables))
    after = set_value(text, (*table, "new key"), "1 in")
    wanted = copy.deepcopy(found)
    at(wanted, table)["new key"] = "1 in"
    assert tomllib.loads(after) == wanted
    gone, came = changed(text, after)
    assert (gone, came) == ([], ['"new key" = "1 in"'])
    assert remove(after, (*table, "new key")) == text


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_table_goes_with_all_it_holds_and_no_comment_on_a_line_of_its_own(data):
    text = data.draw(st.sampled_from(TEXTS))
    before = tomllib.loads(text)
    many = [p for p in scan(text).headers if isinstance(p[-1], int)]
    place = data.draw(st.sampled_from(many))
    after = remove(text, place)
    wanted = copy.deepcopy(before)
    del at(wanted, place[:-1])[place[-1]]
    if not at(wanted, place[:-1]):
        del at(wanted, place[:-2])[place[-2]]
    assert tomllib.loads(after) == wanted
    _, came = changed(text, after)
    assert came == []
    said = [x for x in text.splitlines() if x.startswith("#") and "no comment" not in x]
    assert said == [x for x in after.splitlines() if x.startswith("#") and "no comment" not in x]


def test_a_new_part_stands_before_the_heading_of_what_comes_next():
    text = JOBS[-1].read_text()
    assert "# --- programs" in text
    after = add_table(text, ("parts",), {"id": "shelf", "operations": [{"kind": "bore", "program": "p"}]})
    lines = after.splitlines()
    assert lines.index('id = "shelf"') < next(i for i, x in enumerate(lines) if x.startswith("# --- programs"))
    assert tomllib.loads(after)["parts"][-1] == {"id": "shelf", "operations": [{"kind": "bore", "program": "p"}]}
    assert changed(text, after)[0] == []
    more = add_table(after, ("parts", 0, "operations"), {"kind": "bore"})
    first = tomllib.loads(more)["parts"][0]["operations"]
    assert [o["kind"] for o in first] == ["groove", "mortise", "mortise", "bore"]


def test_inline_tables_and_lists_take_entries_and_give_them_up():
    text = "a = { b = 1 }  # said\nc = [1, 2, 3]\n"
    more = set_value(text, ("a", "d"), "2 in")
    assert more == 'a = { b = 1, d = "2 in" }  # said\nc = [1, 2, 3]\n'
    assert tomllib.loads(remove(more, ("a", "b")))["a"] == {"d": "2 in"}
    assert tomllib.loads(remove(more, ("a", "d")))["a"] == {"b": 1}
    for i in range(3):
        assert tomllib.loads(remove(text, ("c", i)))["c"] == [x for x in (1, 2, 3) if x != i + 1]


def test_dotted_keys_get_neighbours_of_their_kind():
    after = set_value(ODD, ("job", "quantity"), 2)
    assert tomllib.loads(after)["job"] == {"name": "dotted", "quantity": 2}


@pytest.mark.parametrize("text", ["parts[2].operations[1].depth", "job.name", "frames[0].middle_rails[1].width"])
def test_places_are_read_as_faults_write_them(text):
    assert write_place(read_place(text)) == text


@pytest.mark.parametrize("text", ["", "a..b", "[0", "a b", "a[x]"])
def test_what_is_no_place_is_refused(text):
    with pytest.raises(InputError, match="not a place"):
        read_place(text)


# --- on disk ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def door(tmp_path):
    path = tmp_path / "pantry-door.toml"
    path.write_bytes((demo_folder() / "jobs" / "pantry-door.toml").read_bytes())
    return path


def test_a_change_is_written_with_comments_and_the_earlier_version_kept(door):
    before = door.read_text()
    file = OpenJobFile(door, SHOP)
    file.set("frames[0].width", "26 in")
    assert door.read_text() == before, "nothing is written before it is asked for"
    kept = file.write()
    assert changed(before, door.read_text()) == (['width = "24 in"'], ['width = "26 in"'])
    assert kept is not None
    assert kept.read_text() == before
    assert open_job(door, SHOP).expansion.layouts[0].frame.width == pytest.approx(26 * 25.4)
    assert [p.name for p in door.parent.iterdir() if p.is_file()] == [door.name]


def test_every_fault_is_told_with_its_place_and_nothing_is_written(door):
    before = door.read_bytes()
    file = OpenJobFile(door, SHOP)
    file.set("frames[0].width", "26")
    file.set("frames[0].hight", "76 in")
    with pytest.raises(InputError) as refused:
        file.write()
    told = {f.field: str(f) for f in refused.value.faults}
    assert set(told) == {"frames[0].width", "frames[0].hight"}
    assert "did you mean 'height'?" in told["frames[0].hight"]
    assert door.read_bytes() == before


def test_every_change_is_undone_one_by_one_also_after_writing(door):
    file = OpenJobFile(door, SHOP)
    texts = [file.text]
    for place, value in (("job.quantity", 2), ("frames[0].arch", "1 in"), ("job.note", "x")):
        file.set(place, value)
        texts.append(file.text)
    file.write()
    file.remove("hardware[0]")
    for text in reversed(texts):
        assert file.undo()
        assert file.text == text
    assert not file.undo()
    file.write()
    assert open_job(door, SHOP).quantity == 1


def test_what_was_not_written_is_found_again(door):
    """The notebook's kernel may end at any time."""
    file = OpenJobFile(door, SHOP)
    file.set("frames[0].width", "25")  # not even right
    again = OpenJobFile(door, SHOP)
    assert again.taken_up
    assert again.text == file.text
    assert again.undo()
    assert again.text == door.read_text()
    assert not OpenJobFile(door, SHOP).taken_up


def test_what_was_not_written_does_not_go_over_what_another_wrote_since(door):
    OpenJobFile(door, SHOP).set("job.quantity", 3)
    theirs = door.read_text() + "# by hand\n"
    door.write_text(theirs)
    again = OpenJobFile(door, SHOP)
    assert again.taken_up
    assert again.changed_on_disk
    with pytest.raises(InputError, match="changed"):
        again.write()
    assert door.read_text() == theirs
    again.read_again()
    assert again.text == theirs
    assert not again.changed_on_disk


@pytest.mark.parametrize("value", [None, object(), {1, 2}])
def test_what_no_file_can_say_is_refused(door, value):
    file = OpenJobFile(door, SHOP)
    before = file.text
    with pytest.raises(InputError, match="cannot stand"):
        file.set("job.note", value)
    assert file.text == before


def test_a_file_changed_by_another_is_not_written_over(door):
    file = OpenJobFile(door, SHOP)
    file.set("job.quantity", 3)
    theirs = door.read_text().replace('height = "76 in"', 'height = "78 in"')
    door.write_text(theirs)
    with pytest.raises(InputError, match="changed"):
        file.write()
    assert door.read_text() == theirs
    kept = file.write(over=True)
    assert kept.read_text() == theirs
    assert tomllib.loads(door.read_text())["job"]["quantity"] == 3


def test_what_another_wrote_is_taken_over_and_ours_can_be_brought_back(door):
    file = OpenJobFile(door, SHOP)
    file.set("job.quantity", 3)
    ours = file.text
    theirs = door.read_text() + "# by hand\n"
    door.write_text(theirs)
    assert file.changed_on_disk
    file.read_again()
    assert file.text == theirs
    assert file.undo()
    assert file.text == ours


def test_line_ends_and_a_mark_at_the_start_stay(door):
    raw = b"\xef\xbb\xbf" + door.read_bytes().replace(b"\n", b"\r\n")
    door.write_bytes(raw)
    file = OpenJobFile(door, SHOP)
    file.set("frames[0].width", "26 in")
    file.set("job.joints", 8)
    file.write()
    wanted = raw.replace(b'width = "24 in"', b'width = "26 in"', 1)
    assert door.read_bytes().replace(b"joints = 8\r\n", b"") == wanted


@pytest.mark.parametrize("kind", ["frame", "parts"])
def test_a_new_job_can_be_quoted_and_says_what_may_stand_in_it(tmp_path, kind):
    path = new_job(tmp_path / "gate.toml", 'the "Oak" gate', SHOP, kind=kind)
    made = open_job(path, SHOP)
    assert made.name == 'the "Oak" gate'
    assert made.parts
    assert "# " in path.read_text()
    with pytest.raises(InputError, match="there already"):
        new_job(path, "again", SHOP)
