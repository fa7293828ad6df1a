"""What a shop's papers say to customers: its name, how long an offer holds, what is in it and what not, its terms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shopcalc.errors import raise_all
from shopcalc.reading import FieldReader, load_toml

FILE = "papers.toml"
_DAY = 86_400.0  # s
_LISTS = ("included", "excluded", "terms")


@dataclass(frozen=True)
class Terms:
    """Of one shop.

    Parameters
    ----------
    name, about : str
        Of the shop, and where it is; empty leaves them out.
    valid : float or None
        How long an offer holds [s]; None says nothing of it.
    included, excluded, terms : tuple of str
        Sentences of the quote.
    """

    name: str = ""
    about: str = ""
    valid: float | None = None
    included: tuple[str, ...] = ()
    excluded: tuple[str, ...] = ()
    terms: tuple[str, ...] = ()

    @property
    def days(self) -> int | None:
        """Whole days an offer holds [d]."""
        return None if self.valid is None else round(self.valid / _DAY)


def read_terms(folder: Path) -> Terms | None:
    """Read a shop's papers.toml; None where it has none.

    Parameters
    ----------
    folder : Path
        Of the shop.

    Raises
    ------
    InputError
        With every fault: file, dotted field, what is wrong, what to write.

    Example
    -------
    >>> from shopcalc.shop import demo_folder
    >>> read_terms(demo_folder()).days
    30
    """
    path = folder / FILE
    if not path.exists():
        return None
    data = load_toml(path)
    r = FieldReader(str(path))
    r.known(data, ("shop", "quote_terms"))
    shop, quote = r.table(data, "shop"), r.table(data, "quote_terms")
    r.known(shop, ("name", "about"), "shop.")
    r.known(quote, ("valid", *_LISTS), "quote_terms.")
    valid = r.quantity(quote, "valid", "quote_terms.", "time", 0.0) if "valid" in quote else None
    terms = Terms(
        r.text(shop, "name", "shop."),
        r.text(shop, "about", "shop."),
        valid,
        *(_sentences(r, quote, key) for key in _LISTS),
    )
    raise_all(r.faults)
    return terms


def _sentences(r: FieldReader, table: Mapping[str, Any], key: str) -> tuple[str, ...]:
    given = table.get(key, [])
    if isinstance(given, list) and all(isinstance(t, str) and t.strip() for t in given):
        return tuple(t.strip() for t in given)
    r.fault(f"quote_terms.{key}", "it is not a list of texts", f'write {key} = ["...", "..."]')
    return ()
