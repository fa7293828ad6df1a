"""How moist the wood is in the shop, and how moist it will be where a piece stands: the shop's own file, or published
averages with what is known of their swing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.reading import FieldReader, load_toml
from shopcalc.seasons.movement import FIBRE_SATURATION
from shopcalc.seasons.panels import Year
from shopcalc.seasons.sorption import equilibrium_moisture
from shopcalc.sources import KINDS
from shopcalc.units import read, read_temperature

#: Name of the file in a shop's folder.
CLIMATE_FILE = "climate.toml"
_AVERAGES = {
    "most-of-us": ("most of the United States", 8.0),
    "dry-southwest": ("dry southwest of the United States", 6.0),
    "damp-south": ("damp south of the United States", 11.0),
}
_EXTREME_SWING = 7.0  # points of moisture between driest and wettest
_AVERAGE_SOURCE = (
    "averages: Wood Handbook, FPL-GTR-190 (2010), Fig. 13-1, second-hand; 7 points between driest and wettest: E. "
    "Wengert, read, who calls it an extreme"
)
_MONTHS = 12


@dataclass(frozen=True)
class Place:
    """Where a piece stands.

    Parameters
    ----------
    id, title : str
        Key, and what people call it.
    driest, wettest : float
        Moisture that wood comes to there [% moisture].
    months : tuple of float
        Moisture in balance with each month's air, January first; empty where only the ends are known [% moisture].
    """

    id: str
    title: str
    driest: float
    wettest: float
    months: tuple[float, ...] = ()


@dataclass(frozen=True)
class Climate:
    """Moistures of the shop and of where its pieces go.

    Parameters
    ----------
    now : float
        Of the wood in the shop [% moisture].
    places : mapping
        Id to Place.
    usual : str
        Place of what nothing else is said of.
    stands : mapping
        Name of a job file, without its ending, to the id of a place.
    source, kind : str
        Where it comes from, and how sure: of ``sources.KINDS``.
    """

    now: float
    places: Mapping[str, Place]
    usual: str
    stands: Mapping[str, str] = field(default_factory=dict)
    source: str = ""
    kind: str = ""

    def place(self, key: str | None = None, job: str = "") -> Place:
        """A place by its id, else the one a job stands in, else the usual one.

        Parameters
        ----------
        key : str, optional
            Id of a place.
        job : str
            File of a job.

        Raises
        ------
        InputError
            When there is no such place, with the nearest.
        """
        wanted = key or self.stands.get(Path(job).stem, self.usual)
        if wanted not in self.places:
            raise InputError(Fault(f"there is no place '{wanted}'", did_you_mean(wanted, self.places)))
        return self.places[wanted]

    def year(self, place: Place, now: float | None = None) -> Year:
        """Today's moisture with the ends of a place.

        Parameters
        ----------
        place : Place
            Where the piece will stand.
        now : float, optional
            As the meter says of this very piece [% moisture]; else the shop's.
        """
        return Year(self.now if now is None else now, place.driest, place.wettest)


def read_moisture(text: object) -> float:
    """Read what a moisture meter shows.

    Parameters
    ----------
    text : object
        "8 %".

    Returns
    -------
    float
        [% moisture].

    Raises
    ------
    InputError
        When it has no unit, is below 0 or above 30 %.

    Example
    -------
    >>> read_moisture("8.5 %")
    8.5
    """
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        raise InputError(Fault(f"{text} has no unit", f'write it as text with its unit, e.g. "{text:g} %"'))
    return round(100 * read(text, "ratio", minimum=0.0, maximum=FIBRE_SATURATION / 100), 9)


def published_climate(now: float = 8.0) -> Climate:
    """Averages for a shop that has no record of its own.

    Parameters
    ----------
    now : float
        Of the wood in the shop [% moisture]; in the middle of the 6 to 8 % asked of lumber for furniture, and on its
        wet side.

    Returns
    -------
    Climate
        Averages in service, and around each the swing that is called an extreme.

    References
    ----------
    Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), p. 13-13 and Fig. 13-1 (second-hand).

    Example
    -------
    >>> place = published_climate().place("dry-southwest")
    >>> place.driest, place.wettest
    (2.5, 9.5)
    """
    half = _EXTREME_SWING / 2
    places = {k: Place(k, title, mean - half, mean + half) for k, (title, mean) in _AVERAGES.items()}
    return Climate(now, places, "most-of-us", {}, _AVERAGE_SOURCE, "second-hand")


def read_climate(folder: Path | str) -> Climate:
    """Moistures of a shop: from its climate.toml, or published averages where it has none.

    Parameters
    ----------
    folder : Path or str
        The shop's folder.

    Returns
    -------
    Climate
        As written, air turned into the moisture in balance with it.

    Raises
    ------
    InputError
        With every fault: file, dotted field, value and remedy.

    """
    path = Path(folder) / CLIMATE_FILE
    if not path.exists():
        return published_climate()
    data = load_toml(path)
    r = FieldReader(str(path))
    r.known(data, ("source", "kind", "usual", "shop", "places", "stands"))
    shop = r.table(data, "shop")
    r.known(shop, ("moisture", "temperature", "humidity"), "shop.")
    now = _moisture(r, shop, "shop") if shop else None
    if not shop:
        r.fault("shop", "the shop's own moisture is missing", 'add [shop] with moisture = "8 %"')
    places = {k: p for k, v in r.table(data, "places").items() if (p := _place(r, k, v)) is not None}
    if not data.get("places"):
        r.fault("places", "there is no place", "add one, e.g. [places.house]")
    usual = r.text(data, "usual")
    stands = {k: v for k, v in r.table(data, "stands").items() if isinstance(v, str)}
    named = {"usual": data.get("usual"), **{f"stands.{k}": v for k, v in r.table(data, "stands").items()}}
    for where, key in named.items():
        if key not in r.table(data, "places"):
            r.fault(where, f"there is no place {key!r}", did_you_mean(str(key), r.table(data, "places")))
    kind = r.choice(data, "kind", "", tuple(KINDS), "")
    source = r.text(data, "source")
    raise_all(r.faults)
    assert now is not None  # a missing one is a fault
    return Climate(now, places, usual, stands, source, kind)


def _place(r: FieldReader, key: str, data: Any) -> Place | None:
    where = f"places.{key}"
    if not isinstance(data, dict):
        r.fault(where, f"{data!r} is not a table", f"write a section [{where}]")
        return None
    before = len(r.faults)
    r.known(data, ("title", "driest", "wettest", "temperature", "humidity", "moisture"), f"{where}.")
    title = r.text(data, "title", f"{where}.") or key
    yearly, ends = [k for k in ("temperature", "humidity", "moisture") if k in data], ("driest", "wettest")
    if bool(yearly) == any(k in data for k in ends):
        r.fault(where, "it says neither or both of its months and its ends", _EITHER)
        return None
    if yearly:
        months = _year_of_months(r, data, where)
        if months is None:
            return None
        return Place(key, title, min(months), max(months), months)
    found = []
    for end in ends:
        if not isinstance(data.get(end), dict):
            r.fault(f"{where}.{end}", "it is missing" if end not in data else "it is not a table", _EXAMPLE)
            continue
        r.known(data[end], ("moisture", "temperature", "humidity"), f"{where}.{end}.")
        found.append(_moisture(r, data[end], f"{where}.{end}"))
    if len(r.faults) > before or len(found) < 2 or found[0] is None or found[1] is None:
        return None
    if found[0] > found[1]:
        message = f"the driest, {found[0]:.1f} %, is wetter than the wettest, {found[1]:.1f} %"
        r.fault(where, message, "change the two round")
        return None
    return Place(key, title, found[0], found[1])


_EXAMPLE = 'write e.g. { moisture = "6 %" } or { temperature = "68 degF", humidity = "30 %" }'
_EITHER = "give twelve months of temperature and humidity (or of moisture), or driest and wettest"


def _moisture(r: FieldReader, data: Mapping[str, Any], where: str) -> float | None:
    """From a meter, or in balance with the air."""
    before = len(r.faults)
    if "moisture" in data:
        if len(data) > 1:
            r.fault(where, "it says both the wood's moisture and the air", "keep the moisture: the meter knows better")
        found = r.attempt(f"{where}.moisture", None, lambda: read_moisture(data["moisture"]))
    else:
        missing = [k for k in ("temperature", "humidity") if k not in data]
        for k in missing:
            r.fault(f"{where}.{k}", "the value is missing", _EXAMPLE)
        if missing:
            return None
        found = _in_balance(r, data["temperature"], data["humidity"], where, "")
    return found if len(r.faults) == before else None


def _in_balance(r: FieldReader, temperature: object, humidity: object, where: str, index: str) -> float | None:
    t = r.attempt(f"{where}.temperature{index}", None, lambda: read_temperature(temperature))
    h = r.attempt(f"{where}.humidity{index}", None, lambda: read(humidity, "ratio", minimum=0.0, maximum=0.99))
    if t is None or h is None:
        return None
    moisture = float(equilibrium_moisture(t, h))
    if moisture > FIBRE_SATURATION:
        r.fault(f"{where}.humidity{index}", f"air this damp makes wood {moisture:.0f} % moist", "check it")
        return None
    return moisture


def _year_of_months(r: FieldReader, data: Mapping[str, Any], where: str) -> tuple[float, ...] | None:
    before = len(r.faults)
    names = ("moisture",) if "moisture" in data else ("temperature", "humidity")
    for name in names:
        entries = data.get(name)
        if not isinstance(entries, list) or len(entries) != _MONTHS:
            told = f"it has {len(entries)} entries" if isinstance(entries, list) else "it is no list"
            r.fault(f"{where}.{name}", f"{told}, a year has {_MONTHS} months", "write one for each, January first")
    if len(r.faults) > before:
        return None
    if names == ("moisture",):
        found = [r.attempt(f"{where}.moisture[{i}]", None, _reader(text)) for i, text in enumerate(data["moisture"])]
    else:
        pairs = zip(data["temperature"], data["humidity"], strict=True)
        found = [_in_balance(r, t, h, where, f"[{i}]") for i, (t, h) in enumerate(pairs)]
    return None if len(r.faults) > before else tuple(float(m) for m in found if m is not None)


def _reader(text: object) -> Callable[[], float]:
    return lambda: read_moisture(text)
