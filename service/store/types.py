"""How values lie in the database: whole numbers, never floats, never local times.

Instants are microseconds since 1970-01-01T00:00Z, days are days since
1970-01-01, money is 1/10000 of the currency's unit, spans are whole seconds,
the small vocabularies of the price log are numbered.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any, ClassVar, Final, Generic, TypeVar

from sqlalchemy import BigInteger, Integer, SmallInteger
from sqlalchemy.types import TypeDecorator

from scrapers import Availability, Tax
from service.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

Kind = TypeVar("Kind")

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND: Final = timedelta(microseconds=1)
_FLOAT_EXACT: Final = 2**32 * 10**6
_from_timestamp: Final = datetime.fromtimestamp
EPOCH_DAY: Final = date(1970, 1, 1).toordinal()
MONEY_DIGITS: Final = 4
MONEY_LIMIT: Final = 2**63
_CENT: Final = Decimal("0.01")

# Numbered for good: a new word takes the next number, none is ever reused.
AVAILABILITY_CODES: Final[dict[Availability, int]] = {
    Availability.UNKNOWN: 0,
    Availability.IN_STOCK: 1,
    Availability.LOW_STOCK: 2,
    Availability.PREORDER: 3,
    Availability.BACKORDER: 4,
    Availability.OUT_OF_STOCK: 5,
    Availability.DISCONTINUED: 6,
}
TAX_CODES: Final[dict[Tax, int]] = {Tax.UNKNOWN: 0, Tax.INCLUDED: 1, Tax.EXCLUDED: 2}
ORIGIN_CODES: Final[dict[str, int]] = {"poll": 0, "hand": 1, "import": 2, "page": 3}
AVAILABILITIES: Final = {code: word for word, code in AVAILABILITY_CODES.items()}
TAXES: Final = {code: word for word, code in TAX_CODES.items()}
ORIGINS: Final = {code: word for word, code in ORIGIN_CODES.items()}


def to_micros(at: datetime) -> int:
    """An aware instant as microseconds since the epoch. InputError on a naive one."""
    if at.tzinfo is None:
        raise InputError(f"the time {at.isoformat()} has no time zone: give it in UTC")
    return (at - EPOCH) // MICROSECOND


def from_micros(value: int) -> datetime:
    """The aware UTC instant of so many microseconds since the epoch."""
    return EPOCH + timedelta(0, 0, value)


def instant(value: int) -> datetime:
    """The same, by the quickest way.

    Seconds as a float are exact to the microsecond up to 2**32 of them: a double's steps there
    are below half a microsecond, and the clock's function rounds to the nearest.
    """
    if 0 <= value < _FLOAT_EXACT:
        return _from_timestamp(value / 1e6, UTC)
    return EPOCH + timedelta(0, 0, value)


def to_units(amount: Decimal) -> int:
    """Money as whole 1/10000. InputError where it holds more decimals or is no number."""
    if not amount.is_finite():
        raise InputError(f'"{amount}" is not an amount of money: write a number, such as 7.90')
    scaled = amount.scaleb(MONEY_DIGITS)
    units = int(scaled)
    if units != scaled:
        raise InputError(
            f'"{amount:f}" has more than {MONEY_DIGITS} decimals, which is finer than prices are '
            "kept: round it first, or give the price of a larger amount"
        )
    if abs(units) >= MONEY_LIMIT:
        raise InputError(f'"{amount:f}" is too large for an amount of money')
    return units


def from_units(units: int) -> Decimal:
    """Whole 1/10000 as an exact Decimal with at least two decimals, none needless beyond."""
    amount = Decimal(units).scaleb(-MONEY_DIGITS)
    return amount.quantize(_CENT) if units % 100 == 0 else amount.normalize()


def to_day(day: date) -> int:
    """Days since 1970-01-01."""
    return day.toordinal() - EPOCH_DAY


def from_day(value: int) -> date:
    """The day so many days after 1970-01-01."""
    return date.fromordinal(value + EPOCH_DAY)


class _Kept(TypeDecorator[Kind], Generic[Kind]):
    """A value kept as a whole number. `coding`: to that number, and back."""

    impl: Any = BigInteger
    cache_ok = True
    coding: ClassVar[tuple[Callable[[Any], int], Callable[[int], Any]]]

    def process_bind_param(self, value: Kind | None, dialect: Any) -> int | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else self.coding[0](value)

    def process_result_value(self, value: Any, dialect: Any) -> Kind | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else self.coding[1](value)


class Instant(_Kept[datetime]):
    """An aware UTC datetime; refuses naive ones."""

    cache_ok = True
    coding = (to_micros, from_micros)


class Exact(_Kept[Decimal]):
    """Exact money in 1/10000; refuses finer amounts."""

    cache_ok = True
    coding = (to_units, from_units)


class Day(_Kept[date]):
    """A calendar day."""

    impl = Integer
    cache_ok = True
    coding = (to_day, from_day)


class AvailabilityCode(_Kept[Availability]):
    """An availability, by its number."""

    impl = SmallInteger
    cache_ok = True
    coding = (AVAILABILITY_CODES.__getitem__, AVAILABILITIES.__getitem__)


class TaxCode(_Kept[Tax]):
    """Whether a price holds tax, by its number."""

    impl = SmallInteger
    cache_ok = True
    coding = (TAX_CODES.__getitem__, TAXES.__getitem__)


class OriginCode(_Kept[str]):
    """Where a price came from, by its number."""

    impl = SmallInteger
    cache_ok = True
    coding = (ORIGIN_CODES.__getitem__, ORIGINS.__getitem__)
