"""Looks through a paper in all its forms for numbers that must stay in the shop."""

import io
import re
import zipfile
from decimal import Decimal
from html.parser import HTMLParser

import openpyxl
import pypdf

_TOKEN = re.compile(r"\d+(?:[.,:'\u2019\u00a0\u202f]\d+)*")


def inner_values(price):
    """Every amount, rate, hour and share of a price that is not the asked one, by what it is."""
    e, rates = price.estimate, price.estimate.job.shop.rates
    money = {f"line {line.name}": line.amount for line in price.lines}
    money |= {k: getattr(price, k) for k in ("floor", "p50", "p80", "p90", "bought_in", "machine_cost")}
    money |= {
        k: v for k in ("carving_floor", "carving_asked", "earned_per_hour") if (v := getattr(price, k)) is not None
    }
    money |= {f"machine {k}": getattr(price.machine_rate, k) for k in ("fixed", "energy", "upkeep", "space", "total")}
    money |= {f"people {k}": v for k, v in rates.people.items()}
    money |= {f"supplier {k}": v for k, (v, _) in rates.materials.items()}
    money |= {f"hardware {h.name}": h.price for h in e.job.hardware}
    money |= {"purchase": rates.machine.purchase, "salvage": rates.machine.salvage, "finish": rates.finish}
    hours = {f"{k} {w}": getattr(h, w) for k, h in e.hours.items() for w in ("planned", "programmed", "best", "quoted")}
    hours |= {"own hours": e.own_hours, "machine hours": e.machine_seconds / 3600}
    hours |= {f"program {t.program.id}": t.best / 3600 for t in e.programs}
    shares = {"margin": price.margin, "markup": price.markup, "wanted margin": rates.margin}
    wood = {f"bought {p.material}": v for p in e.purchases for v in (p.net, p.gross)}
    return money, {k: v for k, v in hours.items() if v}, shares, wood


def spellings(value):
    """How a number is usually written: decimals, thousands, points and commas."""
    v = float(value)
    out = set()
    for digits in (1, 2, 3):
        plain, grouped = f"{v:.{digits}f}", f"{v:,.{digits}f}"
        out |= {plain, grouped, plain.replace(".", ","), grouped.translate(str.maketrans(",.", ".,"))}
        out |= {grouped.replace(",", sep) for sep in "'\u2019\u00a0\u202f"}
    whole = f"{v:.0f}"
    if len(whole) >= 3:
        out |= {whole, f"{v:,.0f}", f"{v:,.0f}".replace(",", "."), f"{v:,.0f}".replace(",", "\u00a0")}
    return out


def leaks(texts, price, public=()):
    """What of a price's inner numbers stands in the texts, as (what, spelling)."""
    money, hours, shares, wood = inner_values(price)
    text = "\n".join(texts)
    tokens = set(_TOKEN.findall(text))
    tokens -= {s for p in public for s in spellings(p)}
    found = []
    for name, value in {**money, **wood}.items():
        found += [(name, s) for s in spellings(value) & tokens if value]
    for name, h in hours.items():
        clock = {f"{int(h)}:{round(h % 1 * 60):02d}"}
        found += [(name, s) for s in (spellings(h) | spellings(60 * h) | clock) & tokens]
        found += [(name, s) for s in (f"{int(h)} h {round(h % 1 * 60):02d} min", f"{h:g} h") if s in text]
    for name, share in shares.items():
        found += [(name, s) for s in spellings(100 * share) & tokens]
        found += [(name, m[0]) for m in re.finditer(rf"(?<![\d.,]){100 * share:.0f}\s?(%|per ?cent)", text)]
    return found


class _All(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.found, self.styles, self._style = [], [], False

    def handle_starttag(self, tag, attrs):
        self._style = tag == "style"
        self.found += [v or k for k, v in attrs]

    def handle_data(self, data):
        (self.styles if self._style else self.found).append(data)

    def handle_endtag(self, tag):
        self._style = False

    def handle_comment(self, data):
        self.found.append(data)

    handle_decl = handle_pi = unknown_decl = handle_comment


def of_page(page):
    """Texts, attributes and comments of an HTML page; and its style sheets."""
    parser = _All()
    parser.feed(page)
    return parser.found, parser.styles


def of_pdf(data):
    """Texts of all pages, metadata, outlines, notes and attachments."""
    reader = pypdf.PdfReader(io.BytesIO(data))
    out = [p.extract_text() for p in reader.pages]
    out += [str(v) for v in (reader.metadata or {}).values()]
    out += [str(reader.xmp_metadata and reader.xmp_metadata.stream.get_data()), str(reader.outline)]
    out += [str(a.get_object()) for p in reader.pages for a in p.get("/Annots") or []]
    return [*out, *(f"{k} {v}" for k, v in reader.attachments.items())]


def of_workbook(data):
    """Cells as numbers and texts, hidden sheets too, comments, names, heads and feet, properties; raw text parts."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    out = [str(v) for v in vars(book.properties).values()] + [str(p.value) for p in book.custom_doc_props.props]
    out += [f"{k} {v.attr_text}" for k, v in book.defined_names.items()]
    for sheet in book.worksheets:
        out += [sheet.title, *(f"{k} {v.attr_text}" for k, v in sheet.defined_names.items())]
        out += [str(getattr(getattr(sheet, at), side).text) for at in ("oddHeader", "oddFooter")
                for side in ("left", "center", "right")]  # fmt: skip
        for cell in (c for row in sheet.iter_rows() for c in row):
            if isinstance(cell.value, (int, float, Decimal)):
                out += [f"{cell.value:.2f}", f"{cell.value:.1f}", f"{cell.value:.0f}", f"{cell.value:.3f}"]
            else:
                out.append(str(cell.value or ""))
            out += [cell.comment.text if cell.comment else "", cell.hyperlink.target or "" if cell.hyperlink else ""]
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        strings = [
            parts.read(n).decode() for n in parts.namelist() if "sharedStrings" in n or n.startswith("docProps/")
        ]
    return out + [re.sub(r"<[^>]*>", " ", s) for s in strings]
