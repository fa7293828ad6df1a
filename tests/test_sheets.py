"""Papers: the customer's has no inner number in any form; set-up sheets say what can hurt; hostile names do nothing."""

import datetime
import io
import json
import re
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from html.parser import HTMLParser

import openpyxl
import pypdf
import pytest
from inner_numbers import inner_values, leaks, of_page, of_pdf, of_workbook, spellings

from shopcalc.cli import main
from shopcalc.documents import Document, Gap, Paragraph
from shopcalc.documents.blocks import Caution, Table, cell_text
from shopcalc.documents.page import as_page
from shopcalc.documents.pdf import as_pdf
from shopcalc.documents.workbook import as_workbook
from shopcalc.errors import InputError
from shopcalc.fit_table import fit_rows
from shopcalc.jobs import estimate, open_job
from shopcalc.moves import Kind, from_lists
from shopcalc.quote import price
from shopcalc.sheets import (
    KINDS,
    Terms,
    buying_list,
    customer_quote,
    cut_list,
    cutter_runs,
    papers,
    read_terms,
    rendered,
    set_up_sheets,
    stem,
    traveller,
)
from shopcalc.sheets.clamping import cut_extents
from shopcalc.sheets.order import batches
from shopcalc.sheets_command import ONLY
from shopcalc.shop import Shop

DAY = datetime.date(2026, 3, 2)
TAGS = {"html", "head", "meta", "title", "style", "body", "h1", "h2", "p", "table", "thead", "tbody", "tr", "th", "td"}
TAGS |= {"span", "div", "b", "ul", "li"}
HOSTILE = (
    '<script>alert("1")</script><img src=x onerror=alert(1)>',
    '=HYPERLINK("file:///x";"pay")',
    "../../etc/passwd\\..\\..\\con",
    "x" * 700,
    "chest 🪑🦢 für Ünïcode ½ × ²",
    "שער עץ אלון 12 and بوابة",
    "木の箱",
    "\u202egnp.exe\u0000\u0007\n\r{nb} %s &amp; &L&P \\0 \ud800",
    "'+cmd|' /C calc'!A0",
    "   ",
)


@pytest.fixture(scope="module")
def shop():
    """The demo shop with rates that nobody takes for a size or a date."""
    plain = Shop.open()
    people = {k: v + Decimal("0.37") * n for n, (k, v) in enumerate(plain.rates.people.items(), 1)}
    return replace(plain, rates=plain.rates.with_(people=people, margin=0.1737))


def _priced(shop, name):
    return price(estimate(open_job(shop.folder / "jobs" / f"{name}.toml", shop), shop), shop)


@pytest.fixture(scope="module")
def chest(shop):
    return _priced(shop, "reed-bed-chest")


@pytest.fixture(scope="module")
def gates(shop):
    return _priced(shop, "garden-gates")


@pytest.fixture(params=["chest", "gates"])
def priced(request):
    return request.getfixturevalue(request.param)


@pytest.fixture(scope="module")
def set_ups(chest):
    return set_up_sheets(chest, DAY)


@pytest.fixture(scope="module")
def terms(shop):
    return read_terms(shop.folder)


def _public(p):
    """What the customer may read: the price together and each."""
    return (p.asked, p.asked / p.estimate.job.quantity)


def _renamed(p, name):
    job = p.estimate.job
    parts = tuple(part.model_copy(update={"title": name, "note": name}) for part in job.parts)
    programs = tuple(g.model_copy(update={"title": name, "note": name}) for g in job.programs)
    hardware = tuple(h.model_copy(update={"name": name}) for h in job.hardware)
    changed = replace(job, name=name, note=name, parts=parts, programs=programs, hardware=hardware)
    times = tuple(replace(t, program=g) for t, g in zip(p.estimate.programs, programs, strict=True))
    return replace(p, estimate=replace(p.estimate, job=changed, programs=times))


# --- the customer's quote --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_the_customer_reads_no_inner_number_in_any_form(priced, terms, system):
    options = [("with another lid", replace(priced, asked=priced.asked + 100))]
    for told in ((), options):
        made = customer_quote(replace(priced, system=system), terms, DAY, options=told)
        page, (pdf, _), book = as_page(made), as_pdf(made), as_workbook(made)
        texts, styles = of_page(page)
        public = [*_public(priced), *(v for _, p in told for v in _public(p))]
        for found in (texts, of_pdf(pdf), of_workbook(book)):
            assert len("".join(found)) > 300
            assert leaks(found, priced, public) == []
        empty = of_page(as_page(Document("", made.name, DAY, ())))[1]
        assert styles == empty  # a style sheet that is the same for an empty paper tells nothing


def test_the_customer_reads_what_is_asked(priced, terms):
    made = customer_quote(priced, terms, DAY)
    asked = f"{priced.asked:,.2f}"
    for found in (of_page(as_page(made))[0], of_pdf(as_pdf(made)[0]), of_workbook(as_workbook(made))):
        text = " ".join(" ".join(found).split())
        assert asked in text or f"{priced.asked:.2f}" in text
        assert terms.terms[0] in text
    n = priced.estimate.job.quantity
    if n > 1:
        assert f"{priced.asked / n:,.2f} {priced.currency}" in as_page(made)
    assert "2026-04-01" in as_page(made)  # 30 days after 2 March: 29 to the 31st, then one
    assert as_page(made).count("entrance door") == 1


@pytest.mark.parametrize("what", ["floor", "people setup", "supplier white-oak"])
def test_a_planted_amount_is_found_in_every_place(chest, terms, what):
    """The search itself: each place it looks at, with one inner amount put there."""
    value = inner_values(chest)[0][what]
    made = customer_quote(chest, terms, DAY)
    page = as_page(made)
    for spelled in (f"{value:,.2f}", f"{value:.1f}", f"{value:.2f}".replace(".", ",")):
        for place in (f"<p>{spelled}</p>", f'<svg aria-label="{spelled}"></svg>', f"<!-- {spelled} -->"):
            assert leaks(of_page(page.replace("</body>", place + "</body>"))[0], chest, _public(chest))
        pdf, _ = as_pdf(replace(made, blocks=(*made.blocks, Paragraph(f"cost {spelled}"))))
        assert leaks(of_pdf(pdf), chest, _public(chest))
        writer = pypdf.PdfWriter(clone_from=io.BytesIO(as_pdf(made)[0]))
        writer.add_metadata({"/Keywords": spelled})
        kept = io.BytesIO()
        writer.write(kept)
        assert leaks(of_pdf(kept.getvalue()), chest, _public(chest))
    for plant in (_in_cell, _in_hidden_sheet, _in_name, _in_properties, _in_comment):
        assert leaks(of_workbook(plant(as_workbook(made), float(value))), chest, _public(chest)), plant


def test_planted_hours_and_shares_are_found(chest):
    hours, margin = chest.estimate.own_hours, 100 * chest.margin
    for text in (f"{hours:.1f} h", f"{hours:.2f}", f"{margin:.1f} %", f"{margin:.0f} %", f"{margin:.0f}%"):
        assert leaks([f"it says {text} here"], chest)
    h = chest.estimate.hours["stock"].best
    assert leaks([f"{int(h)}:{round(h % 1 * 60):02d}"], chest)


def _planted(data, change):
    book = openpyxl.load_workbook(io.BytesIO(data))
    change(book)
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def _in_cell(data, v):
    return _planted(data, lambda book: book.worksheets[0].cell(60, 9, v))


def _in_hidden_sheet(data, v):
    def change(book):
        sheet = book.create_sheet("inner")
        sheet.sheet_state = "veryHidden"
        sheet["A1"] = v

    return _planted(data, change)


def _in_name(data, v):
    named = openpyxl.workbook.defined_name.DefinedName("floor", attr_text=f"{v:.2f}")
    return _planted(data, lambda book: book.defined_names.add(named))


def _in_properties(data, v):
    return _planted(data, lambda book: setattr(book.properties, "keywords", f"{v:.2f}"))


def _in_comment(data, v):
    def change(book):
        book.worksheets[0]["A1"].comment = openpyxl.comments.Comment(f"{v:.2f}", "somebody")

    return _planted(data, change)


def test_what_is_not_paid_is_said_to_be_left_out(chest, terms):
    """The demo's chest is fetched by the customer: delivery is worked but not quoted."""
    left_out = next(t for t in customer_quote(chest, terms, DAY).blocks if getattr(t, "title", "") == "Not included")
    assert "delivery" in [cell_text(row[1]) for row in left_out.rows]


def test_options_stand_side_by_side(chest, terms):
    other = replace(chest, asked=Decimal("4321.00"))
    made = customer_quote(chest, terms, DAY, options=[("plain lid", other)])
    table = next(t for t in made.blocks if isinstance(t, Table))
    assert table.head == ("", "as described", "plain lid")
    assert [cell_text(c) for c in table.rows[-1]] == ["price together", f"{chest.asked:,.2f} USD", "4,321.00 USD"]


def test_terms_with_faults_are_refused_all_at_once(tmp_path):
    (tmp_path / "papers.toml").write_text('[shop]\nnam = "x"\n[quote_terms]\nvalid = "30"\nterms = "pay"\n')
    with pytest.raises(InputError) as e:
        read_terms(tmp_path)
    assert {f.field for f in e.value.faults} == {"shop.nam", "quote_terms.valid", "quote_terms.terms"}
    assert read_terms(tmp_path / "none") is None


# --- cut list --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_the_cut_list_adds_up_to_what_is_bought(priced, system):
    """Every part once; its board feet add up to the net of the take-off, which is counted elsewhere."""
    made = cut_list(replace(priced, system=system), DAY)
    tables = [t for t in made.blocks if isinstance(t, Table) and t.where == "workbook"]
    assert sum(len(t.rows) for t in tables) == len(priced.estimate.job.parts)
    assert sum(row[1].value for t in tables for row in t.rows) == priced.estimate.job.piece_count
    for purchase, table in zip(priced.estimate.purchases, tables, strict=True):
        size = 0.3048**2 if purchase.unit == "m**2" and system == "inch" else 1.0
        total = sum(row[11].value for row in table.rows)
        assert total * size == pytest.approx(purchase.net, rel=2e-4)


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_every_size_of_the_cut_list_has_its_cell_and_is_never_broken(priced, system):
    made = cut_list(replace(priced, system=system), DAY)
    tables = [b for b in made.printed if isinstance(b, Table)]
    rows = {row[1]: row for t in tables for row in t.rows if row and row[0] is Gap.TICK}
    for p in priced.estimate.job.parts:
        sizes = rows[p.title or p.id][3:9]
        assert all(" " not in s for s in sizes)  # a blank is where a line may end
        finished = [float(sum(map(Fraction, s.split("\u00a0")))) for s in sizes[3:]]
        unit, near = (25.4, 1 / 32) if system == "inch" else (1.0, 0.05)
        assert finished == pytest.approx([v / unit for v in (p.length, p.width, p.thickness)], abs=near + 1e-9)


def test_the_workbook_of_the_cut_list_holds_numbers(chest):
    book = openpyxl.load_workbook(io.BytesIO(as_workbook(cut_list(chest, DAY))))
    sheet = book["white oak"]
    head = [c.value for c in sheet[1]]
    stile = {h: c.value for h, c in zip(head, sheet[2], strict=True)}
    assert stile["finished length"] == pytest.approx(21.125)
    assert stile["rough length"] == pytest.approx(22.125)
    assert sheet.cell(2, head.index("rough length") + 1).number_format.endswith('" in"')


# --- buying list ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_the_buying_list_buys_what_is_priced(priced, system):
    """Wood as the price counts it, by the definitions of foot and board foot; hardware as the job file says."""
    made = buying_list(replace(priced, system=system), DAY)
    wood, hardware, *_ = (b for b in made.blocks if isinstance(b, Table))
    inch = system == "inch"
    size = {"bd ft": 1.0, "m³": 12**2 * 0.0254**3, "ft²": 0.3048**2, "m²": 1.0, "": 1.0}
    factor = {u: (1 / size[u] if u == "m³" else size[u]) for u in size}
    bought = sum(row[3].value * factor[row[3].unit] for row in wood.rows)
    assert bought == pytest.approx(sum(p.gross for p in priced.estimate.purchases), rel=0.02)
    assert {row[3].unit for row in wood.rows} <= ({"bd ft", "ft²", ""} if inch else {"m³", "m²", ""})
    job = priced.estimate.job
    assert [row[2].value for row in hardware.rows] == [h.quantity * job.quantity for h in job.hardware]
    assert all(row[0] is Gap.TICK for row in (*wood.rows, *hardware.rows))


# --- set-up sheets ---------------------------------------------------------------------------------------------------


def test_every_load_has_its_sheet_in_the_order_asked(gates):
    job = gates.estimate.job
    order = [f"{load.program}/{load.part}" for load in reversed(job.loads)]
    titles = [
        b.title
        for b in set_up_sheets(gates, DAY, order).blocks
        if isinstance(b, Table) and re.match(r"\d+\. ", b.title)
    ]
    assert len(titles) == len(job.loads)
    last = job.loads[-1]
    program = next(p for p in job.programs if p.id == last.program)
    assert titles[0] == f"1. {program.title}: {job.part(last.part).title}"


def test_an_order_with_names_that_are_none_is_refused(chest):
    job = chest.estimate.job
    with pytest.raises(InputError) as e:
        batches(job, ["rail-end/long-rail"])
    assert "rail-ends/long-rail" in str(e.value.faults[0])
    assert len(e.value.faults) == 1 + len(job.loads)


def test_a_cutter_without_known_speed_must_not_run(shop, tmp_path):
    text = (shop.folder / "jobs" / "garden-gates.toml").read_text()
    text = text.replace(
        'program = "gate-rail-grooves"\ncutter = "SQ10"', 'program = "gate-rail-grooves"\ncutter = "OLD12"'
    )
    text = text.replace('\nfile = "programs/gate-rail-grooves.nc"', "")
    (tmp_path / "gates.toml").write_text(text)
    p = price(estimate(open_job(tmp_path / "gates.toml", shop), shop), shop)
    made = set_up_sheets(p, DAY)
    graves = [b for b in made.blocks if isinstance(b, Caution) and b.grave]
    assert len(graves) == 2  # that program takes two parts
    assert all("OLD12 carries no known greatest speed" in b.items[0] for b in graves)
    assert as_page(made).count("DO NOT RUN") == 2
    assert "DO NOT RUN" in " ".join(of_pdf(as_pdf(made)[0]))
    assert "OLD12" in str(next(b for b in traveller(p, DAY).blocks if isinstance(b, Table) and not b.title).rows)


def test_speed_and_feed_are_those_of_the_programs_text(chest):
    """The demo's rail-ends says S15300 and its fastest cutting feed is F3720; read here from the text itself."""
    job = chest.estimate.job
    program = next(p for p in job.programs if p.id == "rail-ends")
    text = (job.shop.folder / program.file).read_text()
    speeds = {float(s) for s in re.findall(r"^S(\d+)", text, re.M)}
    feeds = {float(s) for s in re.findall(r"F(\d+)", text)}
    (run,) = cutter_runs(job, program, "long-rail")
    assert {run.rpm} == speeds
    assert run.feed == max(feeds)
    assert run.passes == 3  # levels of the text: three depths
    assert len(set(re.findall(r"^G1 Z(-[\d.]+)", text, re.M))) == 3


def test_turned_parts_say_about_which_axis_and_end_stops_are_locked_off(chest, set_ups):
    page = as_page(set_ups)
    assert page.count("turn it end for end about the axis through its faces") == 4  # four loads stand on end
    assert page.count("comes out mirrored") >= 4
    assert "spindle locked off" in page
    assert page.count("Cautions") == len(chest.estimate.job.loads)


@pytest.mark.parametrize(("system", "paper"), [("inch", "letter"), ("metric", "a4")])
def test_each_set_up_sheet_is_front_and_back(gates, system, paper):
    """Two pages for each, so that one leaf printed on both sides is one set-up."""
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(set_up_sheets(replace(gates, system=system), DAY), paper)[0]))
    n = len(gates.estimate.job.loads)
    assert len(reader.pages) == 2 * n
    for k in range(n):
        assert f"{k + 1}. " in reader.pages[2 * k].extract_text()
        assert "Cautions" in reader.pages[2 * k].extract_text()
        assert "Before the start" in reader.pages[2 * k + 1].extract_text()


def test_extents_are_those_of_cutting_moves_alone():
    moves = from_lists(
        [(0, 0, 10), (100, 50, 10), (100, 50, -3), (20, 60, -3), (20, 60, 10), (500, 500, 10)],
        [Kind.RAPID, Kind.LINE, Kind.LINE, Kind.RAPID, Kind.RAPID],
        feed=[float("nan"), 100, 100, float("nan"), float("nan")],
    )
    assert cut_extents(moves) == ((20.0, 100.0), (50.0, 60.0), (-3.0, -3.0))


def test_the_traveller_is_one_page(priced):
    for system, paper in (("inch", "letter"), ("metric", "a4")):
        made = traveller(replace(priced, system=system), DAY)
        reader = pypdf.PdfReader(io.BytesIO(as_pdf(made, paper)[0]))
        assert len(reader.pages) == 1
        text = reader.pages[0].extract_text()
        assert "page 1 of 1" in text
        for phase, h in priced.estimate.hours.items():
            assert (f"{phase}, {h.best:.1f} h" in text) == (h.best > 0)


def test_inch_and_metric_differ_in_units_alone(gates):
    inch, metric = (as_page(set_up_sheets(replace(gates, system=s), DAY)) for s in ("inch", "metric"))
    assert "1 3/8 in" in inch
    assert " mm/min" not in inch
    assert " in/min" not in metric
    assert "34.92 mm" in metric


# --- hostile names ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_do_nothing_in_any_form(gates, name):
    p = _renamed(gates, name)
    hostile = Terms(name, name, 86400.0, (name,), (name,), (name,))
    documents = papers(p, hostile, DAY, kinds=("customer-quote", "cut-list", "traveller"))
    files, _ = rendered(documents)
    assert len(files) == 9
    for file, data in files.items():
        assert re.fullmatch(r"[a-z0-9][a-z0-9-]{0,80}\.(html|pdf|xlsx)", file)
        if file.endswith("html"):
            page = data.decode()
            tags, attributes = _tags(page)
            assert tags <= TAGS
            assert attributes <= {"lang", "charset", "class", "style"}
            assert not set("\u202e\x00\x07") & set(page)
            assert page.count("<style>") == page.count("</style>") == page.count("</html>") == 1
        elif file.endswith("pdf"):
            reader = pypdf.PdfReader(io.BytesIO(data))
            n = len(reader.pages)
            assert all(f"page {k + 1} of {n}" in q.extract_text() for k, q in enumerate(reader.pages))
            assert not reader.attachments
            assert isinstance(reader.root_object["/OpenAction"], list)  # a place to begin at, not something to do
            assert "/JavaScript" not in str(reader.root_object)
        else:
            book = openpyxl.load_workbook(io.BytesIO(data))
            cells = [c for s in book for row in s.iter_rows() for c in row]
            assert all(c.data_type != "f" and c.hyperlink is None for c in cells)
            assert all(s.sheet_state == "visible" and len(s.title) <= 31 for s in book)


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.attributes = set(), set()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {k for k, _ in attrs}


def _tags(page):
    parser = _Tags()
    parser.feed(page)
    return parser.tags, parser.attributes


def test_what_the_font_lacks_is_told_and_shown_as_a_question_mark(chest):
    _, notes = rendered({"customer-quote": customer_quote(_renamed(chest, "木 box"), Terms(), DAY)})
    assert any("U+6728" in n for n in notes)
    _, notes = rendered({"customer-quote": customer_quote(_renamed(chest, "½ × ² ⅝ é Ж Ω ש 😀"), Terms(), DAY)})
    assert notes == []
    _, notes = rendered({"customer-quote": customer_quote(_renamed(chest, "بوابة"), Terms(), DAY)})
    assert any("unjoined" in n for n in notes)


@pytest.mark.parametrize(("name", "expected"), [("../..", "job"), ("Con", "con"), ("é/è\\ü", "e-e-u"), ("木", "job")])
def test_file_names_come_from_plain_letters(name, expected):
    assert stem(name) == expected


# --- the command -----------------------------------------------------------------------------------------------------


@pytest.fixture
def job_file():
    from shopcalc.shop import demo_folder

    return str(demo_folder() / "jobs" / "garden-gates.toml")


def _run(capsys, *arguments):
    status = main(["sheets", *arguments])
    out = capsys.readouterr()
    return status, out.out, out.err


def test_the_command_writes_all_papers_and_says_what(capsys, job_file, tmp_path):
    status, out, err = _run(capsys, job_file, "--out", str(tmp_path / "p"), "--date", "2026-03-02", "--json")
    assert (status, err) == (0, "")
    told = json.loads(out)
    names = {p.name for p in (tmp_path / "p").iterdir()}
    written = {n.rsplit("/", 1)[-1] for n in told["written"]}
    assert names == written | {"garden-gates-papers.json"}
    assert {f"garden-gates-{k}.{e}" for k in told["papers"] for e in ("html", "pdf", "xlsx")} == written
    for name in written:
        data = (tmp_path / "p" / name).read_bytes()
        assert data[:4] == {"html": b"<!do", "pdf": b"%PDF", "xlsx": b"PK\x03\x04"}[name.rsplit(".", 1)[1]]


def test_a_file_a_person_changed_is_not_overwritten_and_nothing_else_is(capsys, job_file, tmp_path):
    given = (job_file, "--out", str(tmp_path), "--only", "traveller", "--only", "customer-quote")
    assert _run(capsys, *given, "--date", "2026-03-02")[0] == 0
    changed = tmp_path / "garden-gates-traveller.html"
    changed.write_text("mine", encoding="utf-8")
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    status, out, err = _run(capsys, *given, "--date", "2026-03-03")
    assert (status, out) == (2, "")
    assert "garden-gates-traveller.html" in err
    assert "not overwritten" in err
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
    changed.unlink()
    assert _run(capsys, *given, "--date", "2026-03-03")[0] == 0
    assert "2026-03-03" in changed.read_text(encoding="utf-8")


def test_a_file_that_only_has_the_records_name_is_left_alone(capsys, job_file, tmp_path):
    (tmp_path / "garden-gates-papers.json").write_text("[]")
    status, _, err = _run(capsys, job_file, "--out", str(tmp_path), "--only", "traveller")
    assert status == 2
    assert "no record of papers" in err
    assert [p.name for p in tmp_path.iterdir()] == ["garden-gates-papers.json"]


def test_nothing_is_written_when_the_job_is_refused(capsys, tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text('[job]\nname = "x"\nmachine = "rooter"\n')
    status, out, err = _run(capsys, str(bad), "--out", str(tmp_path / "p"))
    assert (status, out) == (2, "")
    assert "rooter" in err
    assert not (tmp_path / "p").exists()


def test_a_job_without_programs_has_no_set_up_sheets(capsys, tmp_path):
    job = tmp_path / "shelf.toml"
    sizes = 'length = "30 in"\nwidth = "9 in"\nthickness = "1 in"\n'
    part = '[[parts]]\nid = "shelf"\nquantity = 1\nmaterial = "white-oak"\n' + sizes
    job.write_text('[job]\nname = "Shelf"\nmachine = "router"\n' + part)
    status, _, err = _run(capsys, str(job), "--out", str(tmp_path / "p"), "--only", "set-ups")
    assert status == 2
    assert "nothing to write" in err
    status, out, _ = _run(capsys, str(job), "--out", str(tmp_path / "p"), "--json")
    assert status == 0
    assert json.loads(out)["papers"] == ["customer-quote", "buying", "cut-list", "traveller", "fits"]


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        (("--date", "2.3.2026"), "is not a date"),
        (("--only", "cutlist"), "invalid choice"),
        (("--only", "fits", "--only", "cut"), "invalid choice"),
    ],
)
def test_flags_that_mean_nothing_are_refused(capsys, job_file, tmp_path, flags, words):
    status, _, err = _run(capsys, job_file, "--out", str(tmp_path / "p"), *flags)
    assert status == 2
    assert words in err
    assert not (tmp_path / "p").exists()


def test_kinds_are_the_same_for_the_command_and_the_papers():
    assert ONLY == KINDS


def test_spellings_are_what_people_write():
    assert {"1,234.50", "1.234,50", "1234.5", "1'234.50"} <= spellings(1234.5)


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_the_fit_table_has_every_row_and_room_for_what_was_measured(chest, system):
    rows = fit_rows(replace(chest.estimate.job, system=system))
    made = papers(replace(chest, system=system), Terms(), DAY, kinds=("fits",), fits=rows)["fits"]
    table = made.tables[0]
    assert [row[1:3] for row in table.rows] == [(r.part, f"{r.what}: {r.measure_with}") for r in rows]
    assert all(row[-1] is Gap.WRITE for row in table.rows)
    text = " ".join(of_pdf(as_pdf(made)[0]))
    assert (" in " in text and " mm" not in text) if system == "inch" else (" mm" in text)
    assert papers(chest, Terms(), DAY, kinds=("fits",)) == {}
