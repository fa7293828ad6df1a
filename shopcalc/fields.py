"""Fields of the tables people write: every text with its unit, refused with what to write instead."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, Strict, ValidationInfo
from pydantic_core import PydanticCustomError

from shopcalc.errors import InputError
from shopcalc.units import read, read_count, read_money


def _attempt(call: Callable[[], Any]) -> Any:
    """Turn a reader's refusal into one of pydantic, which collects them all; message and remedy travel along."""
    try:
        return call()
    except InputError as e:
        fault = e.faults[0]
        raise PydanticCustomError("fault", "{message}", {"message": fault.message, "remedy": fault.remedy}) from None


def _guarded(call: Callable[[Any], Any]) -> BeforeValidator:
    return BeforeValidator(lambda value: _attempt(lambda: call(value)))


def _money(value: Any, info: ValidationInfo) -> Decimal:
    amount: Decimal = _attempt(lambda: read_money(value, (info.context or {}).get("currency", "USD")))
    return amount


def quantity(name: str, **bounds: float) -> BeforeValidator:
    """A text with its unit, read into the house unit.

    Parameters
    ----------
    name : str
        A key of ``units.QUANTITIES``.
    **bounds : float
        As for ``units.read``.
    """
    return _guarded(lambda value: read(value, name, **bounds))


def counted(minimum: int, maximum: int) -> BeforeValidator:
    """A whole number.

    Parameters
    ----------
    minimum, maximum : int
        Bounds, both allowed [-].
    """
    return _guarded(lambda value: read_count(value, minimum=minimum, maximum=maximum))


Length = Annotated[float, quantity("length", above=0.0)]
LengthOrNone = Annotated[float, quantity("length", minimum=0.0)]
Feed = Annotated[float, quantity("feed", above=0.0)]
SpindleSpeed = Annotated[float, quantity("spindle_speed", above=0.0)]
Duration = Annotated[float, quantity("time", minimum=0.0)]
Elapsed = Annotated[float, quantity("time", above=0.0)]
Angle = Annotated[float, quantity("angle", above=0.0, maximum=3.0)]
Count = Annotated[int, counted(1, 10_000)]
CountOrNone = Annotated[int, counted(0, 10_000)]
Name = Annotated[str, Field(min_length=1, pattern=r"\S")]
Flag = Annotated[bool, Strict()]

Money = Annotated[Decimal, BeforeValidator(_money)]  # in the currency of the shop, given as context

System = Literal["inch", "metric"]


class Record(BaseModel):
    """Nothing unknown, nothing infinite, nothing changed afterwards."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)
