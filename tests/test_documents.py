"""One document, three forms: what a page, a PDF and a workbook of it must keep, whatever stands in it."""

import datetime
import io
import re
import zipfile
from html.parser import HTMLParser

import openpyxl
import pypdf
import pytest
from fpdf import FPDF
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.documents import (
    Boxes,
    Break,
    Caution,
    Checklist,
    Document,
    Drawing,
    Figure,
    Gap,
    Heading,
    Paragraph,
    Stroke,
    Table,
    Words,
    clean,
)
from shopcalc.documents.blocks import MARGINS, PAPERS, SIZE
from shopcalc.documents.drawing import arrow, box
from shopcalc.documents.lettering import Lettering, visual
from shopcalc.documents.page import as_page
from shopcalc.documents.pdf import as_pdf
from shopcalc.documents.workbook import as_workbook

DAY = datetime.date(2026, 3, 2)
DRAWING = Drawing(
    "a rail", 60, 30,
    (box(5, 5, 50, 20, fill=0.9), Words((30, 16), "front", "middle"), *arrow((5, 28), (20, 28)),
     Stroke(((0, 0), (60, 30)), dashed=True)),
)  # fmt: skip
_WORDS = "of many words that need a second line of their own in this column " * 2
LONG = tuple((f"row {k} {_WORDS}", Figure(f"{k} in", k, "in")) for k in range(60))


def document(*blocks, name="Job", title="Paper"):
    return Document(title, name, DAY, blocks)


def pages(data):
    return [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(data)).pages]


# --- PDF -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_every_page_has_its_size_its_number_the_job_and_the_date(paper):
    data, _ = as_pdf(document(Table("Long", ("what", "size"), LONG, frozenset({1})), name="Müller's ½ gate"), paper)
    reader = pypdf.PdfReader(io.BytesIO(data))
    n = len(reader.pages)
    assert n > 2
    for k, page in enumerate(reader.pages, 1):
        text = page.extract_text()
        assert f"page {k} of {n}" in text
        assert "2026-03-02, Müller's ½ gate" in text
        assert [float(v) * 25.4 / 72 for v in page.mediabox[2:]] == pytest.approx(PAPERS[paper], abs=0.01)


def test_heads_are_repeated_and_no_row_is_torn():
    texts = pages(as_pdf(document(Table("Long", ("what", "size"), LONG, frozenset({1}))))[0])
    assert all(" ".join(t.split()).count("what size") == 1 for t in texts)
    for k in range(60):
        on = [t for t in texts if re.search(rf"\brow {k} of", t)]
        assert len(on) == 1
        row = re.search(rf"row {k} of.*?(?=row \d+ of|2026-03-02, Job|\Z)", on[0], re.S)[0]
        assert " ".join(row.split()).count("of their own in this column") == 2


def test_a_row_longer_than_a_page_is_cut_and_not_lost():
    words = " ".join(f"w{k}" for k in range(3000))
    texts = " ".join(pages(as_pdf(document(Table("t", ("a",), ((words,),))))[0])).split()
    assert {f"w{k}" for k in range(3000)} <= set(texts)


def test_letters_are_large_enough_within_the_margins_and_black():
    cautions = Caution("Caution.", ("one " * 50,)), Caution("Two", ("a", "b"), grave=True)
    long = Paragraph("p " * 300), Checklist("c", ("one", "two " * 60)), *cautions
    table = Table("t", ("x", "y"), LONG[:3], frozenset({1}))
    large = Paragraph("large", large=True)
    blocks = (Heading("h"), *long, large, DRAWING, Boxes(("a", "b")), table, Break(), Paragraph("last"))
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(document(*blocks))[0]))
    seen = []

    def visit(text, cm, tm, font, size):
        if text.strip():
            seen.append((round(size, 1), tm[4] * 25.4 / 72, tm[5] * 25.4 / 72, text))

    for page in reader.pages:
        page.extract_text(visitor_text=visit)
        content = page.get_contents().get_data().decode("latin-1")
        colours = re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", content)
        assert all(len(set(c)) == 1 for c in colours)  # greys only
    assert {s for s, *_ in seen if s < SIZE} == {9.0}  # the foot
    assert all(("page" in t or "2026" in t) for s, _, _, t in seen if s < SIZE)
    assert all(x >= MARGINS[3] - 0.1 for _, x, _, _ in seen)


def test_fonts_are_embedded_and_no_page_asks_for_anything():
    data, _ = as_pdf(document(Paragraph("× ² ½ é Ж")))
    reader = pypdf.PdfReader(io.BytesIO(data))
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
            assert "/FontFile2" in inner
    assert b"http" not in re.sub(rb"stream.*?endstream", b"", data, flags=re.S).replace(b"http://ns.adobe.com", b"")
    assert b"/JavaScript" not in data
    assert "× ² ½ é Ж" in pages(data)[0]


@pytest.fixture(scope="module")
def letters():
    pdf = FPDF(unit="mm")
    yield Lettering(pdf)
    for font in pdf.fonts.values():
        font.close()


def test_widths_are_those_the_writer_of_the_pdf_finds(letters):
    for text in ("white oak 31 1/4 in × ½", "Ж שער", "iiiWWW"):
        for bold in (False, True):
            letters.use(11, bold)
            assert letters.width(text, 11, bold) == pytest.approx(letters.pdf.get_string_width(text), rel=2e-3)


@given(st.text(max_size=80), st.floats(10, 120))
def test_lines_keep_every_letter_and_fit_their_room(letters, text, room):
    lines = letters.lines(text, room, 11.0)
    joined = "".join(lines).replace(" ", "")
    wanted = letters._shown(clean(text), False).replace(" ", "")
    assert joined == wanted
    assert all(letters.width(line, 11.0, False) <= room + 1e-6 or len(line) == 1 for line in lines)


def test_right_to_left_is_turned_round_and_figures_are_not():
    """Unicode Standard Annex 9: letters of Hebrew from the right, figures within them from the left."""
    assert visual("oak 12") == "oak 12"
    assert visual("\u05d0\u05d1 12") == "12 \u05d1\u05d0"


def test_a_name_from_right_to_left_does_not_turn_the_date():
    """After Arabic letters the algorithm would set day, month and year the other way round."""
    assert visual(document(name="\u0628\u0627\u0628").foot).count("2026-03-02") == 1
    assert "2026-03-02" in pages(as_pdf(document(Paragraph("x"), name="\u0628\u0627\u0628"))[0])[0]


def test_a_missing_letter_is_told():
    data, notes = as_pdf(document(Paragraph("木 oak 木")))
    assert "? oak ?" in pages(data)[0]
    assert len(notes) == 1
    assert "U+6728" in notes[0]


# --- page ------------------------------------------------------------------------------------------------------------


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.seen, self.texts = [], [], []

    def handle_starttag(self, tag, attrs):
        if tag != "meta":
            self.open.append(tag)
        self.seen.append((tag, dict(attrs)))

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open[-1:] != ["style"]:
            self.texts.append(data)


@pytest.mark.parametrize(("paper", "said"), [("letter", "size: letter"), ("a4", "size: A4")])
def test_the_page_is_whole_prints_on_its_paper_and_loads_nothing(paper, said):
    page = as_page(document(Heading("h"), DRAWING, Boxes(("a",)), Table("t", ("x",), (("1",), (), ("2",)))), paper)
    parsed = _Tags()
    parsed.feed(page)
    assert not parsed.open
    assert said in page
    assert "counter(pages)" in page
    assert "table-header-group" in page
    assert not re.search(r"https?:|//|url\(|@import|src=|href=", page)


@given(st.text(max_size=60))
@settings(max_examples=60)
def test_no_text_gets_out_of_its_place_on_a_page(text):
    doc = Document(text, text, DAY, (Paragraph(text), Table(text, (text,), ((text,),)), Caution(text, (text, text))))
    parsed, plain = _Tags(), _Tags()
    parsed.feed(as_page(doc))
    plain.feed(
        as_page(Document("x", "x", DAY, (Paragraph("x"), Table("x", ("x",), (("x",),)), Caution("x", ("x", "x")))))
    )
    if clean(text) and not any(len(w) > 24 for w in clean(text).split(" ")):
        assert parsed.seen == plain.seen
    assert not parsed.open
    style = re.search(r"<style>(.*?)</style>", as_page(doc), re.S)[1]
    foot = re.search(r'content: "((?:[^"\\]|\\[0-9a-f]{6})*)"; font', style)[1]
    assert re.sub(r"\\([0-9a-f]{6})", lambda m: chr(int(m[1], 16)), foot) == doc.foot


def test_controls_and_turning_marks_are_dropped_and_lines_joined():
    assert clean("a\x00b\u202ec\nd\ud800") == "abc d"


# --- workbook --------------------------------------------------------------------------------------------------------


@given(st.lists(st.text(max_size=40), min_size=1, max_size=4))
@settings(max_examples=40)
def test_a_workbook_holds_texts_as_texts_and_opens(texts):
    tables = tuple(
        Table(t, (t, "size"), ((t, Figure("1 in", 1.0, t)), (), (Gap.TICK, "=1+1")), frozenset({1})) for t in texts
    )
    data = as_workbook(document(*tables, name=texts[0]))
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert len(book.sheetnames) == len(texts)
    for sheet, text in zip(book.worksheets, texts, strict=True):
        assert sheet.sheet_state == "visible"
        assert (sheet["A2"].value or "") == clean(text)
        assert sheet["A2"].data_type in ("s", "n")  # an empty one has no type
        assert sheet["B3"].value == "=1+1"
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        assert all("<f>" not in parts.read(n).decode() for n in parts.namelist() if "worksheets/sheet" in n)
        assert not [n for n in parts.namelist() if re.search("external|vba|custom|hyperlink", n)]


def test_sheet_names_are_told_apart():
    data = as_workbook(
        document(*(Table("a" * 40, ("x",), (("1",),)) for _ in range(12)), Table("History", ("x",), (("1",),)))
    )
    names = openpyxl.load_workbook(io.BytesIO(data)).sheetnames
    assert len({n.casefold() for n in names}) == 13
    assert max(map(len, names)) <= 31


def test_figures_can_be_reckoned_with_and_keep_their_unit():
    data = as_workbook(document(Table("t", ("x",), ((Figure("1 1/4 in", 1.25, "in"),),))))
    cell = openpyxl.load_workbook(io.BytesIO(data)).worksheets[0]["A2"]
    assert cell.value == 1.25
    assert cell.number_format == 'General" in"'


def test_a_table_for_one_form_stands_in_that_form_only():
    doc = document(
        Table("printed", ("x",), (("paper",),), where="print"), Table("wide", ("x",), (("screen",),), where="workbook")
    )
    assert openpyxl.load_workbook(io.BytesIO(as_workbook(doc))).sheetnames == ["wide"]
    assert "screen" not in as_page(doc)
    assert "screen" not in pages(as_pdf(doc)[0])[0]
    assert "paper" in pages(as_pdf(doc)[0])[0]
