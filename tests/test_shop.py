"""A shop from one folder: demo, starter copies, and rates with every way they can be wrong."""

import datetime
import shutil
from decimal import Decimal

import pytest

from shopcalc.crew import SKILLS
from shopcalc.errors import InputError
from shopcalc.machines import read_machine
from shopcalc.materials import read_materials
from shopcalc.shop import DRIVERS, OPERATIONS, PHASES, Shop, copy_starter, demo_folder, read_rates
from shopcalc.standard_times import standard_times

MATERIALS = read_materials()
RATES = (demo_folder() / "rates.toml").read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path):
    """A copy of the demo shop to spoil."""
    to = tmp_path / "shop"
    to.mkdir()
    for name in ("machines.toml", "cutters.csv", "rates.toml"):
        shutil.copy(demo_folder() / name, to)
    return to


def faults_of(action, *args):
    with pytest.raises(InputError) as caught:
        action(*args)
    assert all(f.remedy and "\n" not in str(f) for f in caught.value.faults)
    return caught.value.faults


def changed(old, new):
    assert RATES.count(old) >= 1, old
    return RATES.replace(old, new, 1)


def test_the_demo_shop_is_whole_and_invented():
    shop = Shop.open()
    assert {"router", "small-router"} == set(shop.machines)
    assert len(shop.cutters) >= 18
    assert len(shop.materials) >= 25
    assert shop.rates.kind == "invented"
    assert set(shop.rates.minutes) == set(DRIVERS)
    assert set(shop.rates.people) == set(shop.rates.spread) == set(PHASES)
    assert set(shop.rates.attended) == set(OPERATIONS)


def test_prices_stand_on_the_materials():
    shop = Shop.open()
    oak, board = shop.material("white-oak"), shop.material("mdf")
    assert (oak.price, oak.price_unit) == (Decimal("9.80"), "board_foot")
    assert (board.price, board.price_unit) == (Decimal("16.0"), "m**2")
    assert shop.material("teak").price is None


def test_rates_in_house_units():
    rates = Shop.open().rates
    assert rates.machine.purchase == Decimal(68000)
    assert (rates.machine.life, rates.machine.hours_per_year) == pytest.approx((10.0, 700.0))
    assert (rates.machine.power, rates.machine.interest) == pytest.approx((5000.0, 0.08))
    assert rates.people["design"] == Decimal(62)
    assert rates.minutes["load_per_load"] == 240
    assert rates.carving == pytest.approx((0.55 * 54000, 54000, 2.2 * 54000))
    assert all(isinstance(v, Decimal) for v in (rates.finish, rates.glue, rates.sheet, *rates.people.values()))
    assert rates.with_(margin=0.2).margin == 0.2


def test_what_a_shop_does_not_say_of_its_work_is_the_packages(tmp_path):
    path = tmp_path / "rates.toml"
    head, _, rest = RATES.partition("[minutes]")
    path.write_text(head + "[" + rest.partition("\n[")[2], encoding="utf-8")
    rates = read_rates(path, MATERIALS)
    assert rates.minutes == {d: t.seconds for d, t in standard_times().items()}
    assert rates.learning == {d: t.learning for d, t in standard_times().items()}
    assert (rates.coats, rates.drying, rates.workday.hours) == (3, 12 * 3600, 8 * 3600)
    ((who,),) = (rates.crew,)
    assert (who.count, who.may) == (1, frozenset(SKILLS))


def test_people_and_the_working_day_are_the_shops(tmp_path):
    path = tmp_path / "rates.toml"
    text = (
        '[people.joiner]\ncount = 2\nmay = ["stock", "assembly"]\n[people.owner]\n[learning]\nload_per_load = "80 %"\n'
        '[workday]\nhours = "7.5 h"\nstart = "7 h"\ndays = ["monday", "saturday"]\nclosed = ["2026-11-28"]\n'
        '[finish]\ncoats = 2\ndrying = "90 min"\n'
    )
    path.write_text(RATES + text, encoding="utf-8")
    rates = read_rates(path, MATERIALS)
    assert [(k.name, k.count, len(k.may)) for k in rates.crew] == [("joiner", 2, 2), ("owner", 1, len(SKILLS))]
    assert rates.people == read_rates(demo_folder() / "rates.toml", MATERIALS).people
    assert (rates.learning["load_per_load"], rates.coats, rates.drying) == (0.8, 2, 5400)
    days = [datetime.date(2026, 11, d) for d in range(21, 31)]  # the 21st is a Saturday
    assert [d.day for d in days if rates.workday.works(d)] == [21, 23, 30]


@pytest.mark.parametrize(("said", "who"), [("", ["owner", "runner"]), (', "carving"', ["runner"])])
def test_where_nobody_is_said_to_carve_everybody_at_the_machine_may(said, who, tmp_path):
    path = tmp_path / "rates.toml"
    rest = ", ".join(f'"{p}"' for p in PHASES)
    text = f'[people.owner]\nmay = [{rest}]\n[people.runner]\nmay = ["setup", "machining"{said}]\n'
    path.write_text(RATES + text + '[people.joiner]\nmay = ["assembly"]\n', encoding="utf-8")
    assert [k.name for k in read_rates(path, MATERIALS).crew if "carving" in k.may] == who


def test_things_are_found_by_name_and_misspelt_ones_mended(tmp_path):
    shop = Shop.open()
    assert shop.machine("router").name == "router"
    assert shop.cutter("V60").shape == "V"
    assert shop.material("laminated-cherry").group == "laminated"
    assert "did you mean 'router'?" in faults_of(shop.machine, "ruoter")[0].remedy
    assert "did you mean 'SQ12'?" in faults_of(shop.cutter, "SQ-12")[0].remedy
    assert "did you mean 'white-oak'?" in faults_of(shop.material, "whiteoak")[0].remedy
    path = tmp_path / "other.toml"
    path.write_text('[axes.x]\nrapid = "9 m/min"\n')
    assert shop.machine(str(path)) == shop.machine(path) == read_machine(path)
    assert "no such file" in faults_of(shop.machine, "no.toml")[0].message


def test_a_missing_folder_or_file_says_what_to_do(folder, tmp_path):
    (fault,) = faults_of(Shop.open, tmp_path / "nowhere")
    assert f"shopcalc new {tmp_path / 'nowhere'}" in fault.remedy
    assert "not a folder" in faults_of(Shop.open, folder / "rates.toml")[0].message
    (folder / "rates.toml").unlink()
    (folder / "cutters.csv").unlink()
    found = faults_of(Shop.open, folder)
    assert [f.file for f in found] == [str(folder / "cutters.csv"), str(folder / "rates.toml")]
    assert all("shopcalc new" in f.remedy for f in found)


def test_faults_of_all_files_come_together(folder):
    (folder / "machines.toml").write_text("[router.axes.x]\nrapid = 20\n")
    text = (folder / "cutters.csv").read_text().replace('1/2 in square end, up",square end,1/2 in', 'x",square end,12')
    (folder / "cutters.csv").write_text(text)
    (folder / "rates.toml").write_text(changed('"18 %"', "18"))
    (folder / "material_values.csv").write_text(
        "material,field,value,unit,source,place,kind,note\noak,density,1,mm,,,memory,\n"
    )
    files = {f.file.removeprefix(str(folder) + "/") for f in faults_of(Shop.open, folder)}
    assert files == {"machines.toml", "cutters.csv", "rates.toml", "material_values.csv"}


def test_own_materials_may_have_a_price(folder):
    (folder / "materials.csv").write_text("id,title,full_name,group,values_of,note\nreed-oak,reed oak,,hardwood,,\n")
    (folder / "material_values.csv").write_text(
        "material,field,value,unit,source,place,kind,note\nreed-oak,density,650,kg/m^3,weighed,,measured,\n"
    )
    (folder / "rates.toml").write_text(changed("[materials]", '[materials]\nreed-oak = "7 USD/board_foot"'))
    reed = Shop.open(folder).material("reed-oak")
    assert (reed.price, reed.density) == (Decimal("7"), 650)


def learned(folder, value="12.60 mm", regrinds=1):
    head = "date,what,cutter,regrinds,machine,station,material,name,value,source,note\n"
    row = f"2026-03-02,fit test,SQ12,{regrinds},router,flat,,true_diameter,{value},,\n"
    (folder / "learned.csv").write_text(head + row)


def test_a_fit_test_overrides_the_diameter_until_the_next_regrind(folder):
    assert Shop.open(folder).cutter("SQ12").measured_diameter == 12.66
    assert not Shop.open(folder).learned.rows
    learned(folder)
    shop = Shop.open(folder)
    assert shop.cutter("SQ12").true_diameter == shop.cutters["SQ12"].true_diameter == 12.60
    assert shop.cutter("SQ12").source == "demo rack; diameter: this shop, 2026-03-02"
    assert shop.learned.value("true_diameter", cutter="SQ12").value == 12.60
    learned(folder, regrinds=0)
    shop = Shop.open(folder)
    assert shop.cutter("SQ12").true_diameter == 12.66
    assert "no longer counts" in shop.learned.set_aside("true_diameter", cutter="SQ12")


def test_a_learned_diameter_far_from_the_nominal_is_a_fault(folder):
    learned(folder, "9 mm")
    (fault,) = faults_of(Shop.open, folder)
    assert (fault.file, fault.field) == (str(folder / "learned.csv"), "value")
    learned(folder, "12.6")
    (fault,) = faults_of(Shop.open, folder)
    assert (fault.file, fault.row, fault.field) == (str(folder / "learned.csv"), 2, "value")


MATRIX = {
    "no unit": (changed('"68000 USD"', "68000"), "machine.purchase", "USD"),
    "no currency": (changed('"68000 USD"', '"68000"'), "machine.purchase", "USD"),
    "another currency": (changed('"68000 USD"', '"68000 EUR"'), "machine.purchase", "USD"),
    "negative": (changed('"68000 USD"', '"-68000 USD"'), "machine.purchase", "sign"),
    "salvage above purchase": (changed('"14000 USD"', '"140000 USD"'), "machine.salvage", "check both"),
    "life of nothing": (changed('"10 year"', '"0 year"'), "machine.life", "sign"),
    "wrong unit": (changed('"10 year"', '"10 mm"'), "machine.life", "min"),
    "more hours than a year has": (changed('"700 h"', '"9000 h"'), "machine.hours_per_year", "really runs"),
    "interest above all": (changed('"8 %"', '"800 %"'), "machine.interest", "check"),
    "not a number": (changed('"5 kW"', '"much"'), "machine.power", "kW"),
    "price per the wrong thing": (changed('"0.16 USD/kWh"', '"0.16 USD/h"'), "machine.energy", "kWh"),
    "misspelt key": (changed("upkeep =", "upkep ="), "machine.upkep", "upkeep"),
    "misspelt section": (changed("[waste]", "[wastes]"), "wastes", "waste"),
    "margin of the whole": (changed('"18 %"', '"100 %"'), "price.margin", "check"),
    "price per board foot of a sheet": (changed('"16 USD/m^2"', '"16 USD/board_foot"'), "materials.mdf", "m**2"),
    "unknown material": (changed("white-oak =", "wite-oak ="), "materials.wite-oak", "white-oak"),
    "zero is allowed, less is not": (changed('"240 min"', '"-1 min"'), "minutes.carving_design_per_job", "sign"),
    "misspelt driver": (changed("sanding_per_area", "sanding_per_are"), "minutes.sanding_per_are", "sanding_per_area"),
    "learning that makes more take less": (
        RATES + '[learning]\nload_per_load = "40 %"\n', "learning.load_per_load", "check"),
    "learning of nothing known": (RATES + '[learning]\nload = "90 %"\n', "learning.load", "load_per_load"),
    "learning of what is done once": (
        RATES + '[learning]\nproving_per_program = "90 %"\n', "learning.proving_per_program", "use one of"),
    "no coat": (RATES + "[finish]\ncoats = 0\n", "finish.coats", "check the count"),
    "drying without a unit": (RATES + "[finish]\ndrying = 12\n", "finish.drying", "min"),
    "a day that is none": (RATES + '[workday]\nclosed = ["2026-02-30"]\n', "workday.closed", "2026-12-24"),
    "a weekday that is none": (RATES + '[workday]\ndays = ["mondy"]\n', "workday.days.mondy", "monday"),
    "no weekday": (RATES + "[workday]\ndays = []\n", "workday.days", "monday"),
    "a day after midnight": (RATES + '[workday]\nstart = "20 h"\n', "workday.hours", "check start"),
    "a day too long": (RATES + '[workday]\nhours = "25 h"\n', "workday.hours", "check"),
    "people who do nothing known": (
        RATES + '[people.joiner]\nmay = ["assembling"]\n', "people.joiner.may.assembling", "assembly"),
    "a phase nobody may do": (RATES + '[people.joiner]\nmay = ["assembly"]\n', "people", "of somebody"),
    "people without a list": (RATES + '[people.joiner]\nmay = "assembly"\n', "people.joiner.may", "assembly"),
    "half a person": (RATES + "[people.joiner]\ncount = 1.5\n", "people.joiner.count", "without a unit"),
    "people of a misspelt field": (RATES + "[people.joiner]\ncounts = 1\n", "people.joiner.counts", "count"),
    "unknown phase": (changed("design =", "designs ="), "people.designs", "design"),
    "attended more than always": (changed('tenon = "100 %"', 'tenon = "110 %"'), "attended.tenon", "check"),
    "spread below nothing": (changed('design = "35 %"', 'design = "-35 %"'), "spread.design", "sign"),
    "carving that falls": (changed('high_share = "220 %"', 'high_share = "90 %"'), "carving.high_share", "200"),
    "not a currency": (changed('"USD"', '"dollars"'), "currency", '"USD"'),
    "unknown kind": (changed('kind = "invented"', 'kind = "made up"'), "kind", "use one of"),
    "list for a section": (changed("[waste]", "waste = 5\n[waste2]"), "price.waste", "use one of"),
}  # fmt: skip


@pytest.mark.parametrize("case", MATRIX)
def test_a_wrong_rate_says_field_and_remedy(case, tmp_path):
    text, field, remedy = MATRIX[case]
    path = tmp_path / "rates.toml"
    path.write_text(text, encoding="utf-8")
    found = {f.field: f for f in faults_of(read_rates, path, MATERIALS)}
    assert field in found
    assert remedy in found[field].remedy
    assert all(f.file == str(path) for f in found.values())


@pytest.mark.parametrize("section", ["machine", "people", "price", "waste", "attended", "carving", "spread"])
def test_a_missing_section_is_no_free_work(section, tmp_path):
    path = tmp_path / "rates.toml"
    head, _, rest = RATES.partition(f"[{section}]")
    path.write_text(head + ("[" + rest.partition("\n[")[2] if "\n[" in rest else ""), encoding="utf-8")
    assert [f.field for f in faults_of(read_rates, path, MATERIALS)] == [section]


def test_a_rate_file_without_prices_is_whole(tmp_path):
    """A job says so when it needs a price that is not there; the file need not list any wood."""
    path = tmp_path / "rates.toml"
    head, _, rest = RATES.partition("[materials]")
    path.write_text(head + "[" + rest.partition("\n[")[2], encoding="utf-8")
    assert not read_rates(path, MATERIALS).materials


def test_a_starter_shop_opens(tmp_path):
    made = copy_starter(tmp_path / "new" / "shop")
    assert Shop.open(made).rates == Shop.open().rates
    assert not [p for p in made.parent.iterdir() if p.name.startswith(".")], "no scratch is left"
    assert made.stat().st_mode & 0o755 == 0o755


def test_a_starter_goes_into_an_empty_folder_only(tmp_path):
    (tmp_path / "empty").mkdir()
    assert (copy_starter(tmp_path / "empty") / "rates.toml").exists()
    before = sorted(p.name for p in (tmp_path / "empty").iterdir())
    (tmp_path / "empty" / "rates.toml").write_text("mine")
    assert "not empty" in faults_of(copy_starter, tmp_path / "empty")[0].message
    assert (tmp_path / "empty" / "rates.toml").read_text() == "mine"
    assert sorted(p.name for p in (tmp_path / "empty").iterdir()) == before
    (tmp_path / "file").write_text("x")
    assert "a file" in faults_of(copy_starter, tmp_path / "file")[0].message
    assert "cannot be written" in faults_of(copy_starter, tmp_path / "file" / "below")[0].message


def test_a_copy_that_breaks_leaves_nothing(tmp_path, monkeypatch):
    """The demo folder vanishes half way: a real missing folder, not a pretended error."""
    monkeypatch.setattr("shopcalc.shop.demo_folder", lambda: tmp_path / "gone")
    assert "cannot be written" in faults_of(copy_starter, tmp_path / "shop")[0].message
    assert not list(tmp_path.iterdir())


def test_a_new_shop_begins_without_anybodys_log(tmp_path, monkeypatch):
    demo = tmp_path / "demo"
    shutil.copytree(demo_folder(), demo, ignore=shutil.ignore_patterns("*.py"))
    for name in ("log.sqlite", "log.sqlite-wal", "learned.csv", "machines-learned.csv"):
        (demo / name).write_text("of another shop", encoding="utf-8")
    monkeypatch.setattr("shopcalc.shop.demo_folder", lambda: demo)
    new = copy_starter(tmp_path / "new")
    assert (new / "rates.toml").exists()
    assert not [p.name for p in new.iterdir() if p.name.startswith("log.") or "learned" in p.name]
