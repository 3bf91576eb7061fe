"""How values lie in the database: whole numbers, never floats, never local times.

Instants are microseconds since 1970-01-01T00:00Z, days are days since
1970-01-01, money is 1/10000 of the currency's unit, spans are whole seconds,
the small vocabularies of the price log are numbered.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Any, Final, Generic, TypeVar

from sqlalchemy import BigInteger, Integer, SmallInteger
from sqlalchemy.types import TypeDecorator

from scrapers import Availability, Tax
from service.errors import InputError

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
EPOCH_DAY: Final = date(1970, 1, 1).toordinal()
MONEY_DIGITS: Final = 4
MONEY_LIMIT: Final = 2**63

# Numbered for good: a new word takes the next number, none is ever reused.
AVAILABILITY_CODES: Final[dict[Any, int]] = {
    Availability.UNKNOWN: 0,
    Availability.IN_STOCK: 1,
    Availability.LOW_STOCK: 2,
    Availability.PREORDER: 3,
    Availability.BACKORDER: 4,
    Availability.OUT_OF_STOCK: 5,
    Availability.DISCONTINUED: 6,
}
TAX_CODES: Final[dict[Any, int]] = {Tax.UNKNOWN: 0, Tax.INCLUDED: 1, Tax.EXCLUDED: 2}
ORIGIN_CODES: Final[dict[Any, int]] = {"poll": 0, "hand": 1, "import": 2, "page": 3}

_SECONDS_A_DAY: Final = 86_400
_MICRO: Final = 1_000_000


def to_micros(at: datetime) -> int:
    """An aware instant as microseconds since the epoch. InputError on a naive one."""
    if at.tzinfo is None:
        raise InputError(f"the time {at.isoformat()} has no time zone: give it in UTC")
    since = at - EPOCH
    return (since.days * _SECONDS_A_DAY + since.seconds) * _MICRO + since.microseconds


def from_micros(value: int) -> datetime:
    """The aware UTC instant of so many microseconds since the epoch."""
    return EPOCH + timedelta(microseconds=value)


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


_CENT: Final = Decimal("0.01")


def to_day(day: date) -> int:
    """Days since 1970-01-01."""
    return day.toordinal() - EPOCH_DAY


def from_day(value: int) -> date:
    """The day so many days after 1970-01-01."""
    return date.fromordinal(value + EPOCH_DAY)


class Instant(TypeDecorator[datetime]):
    """An aware UTC datetime; refuses naive ones."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> int | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else to_micros(value)

    def process_result_value(self, value: Any, dialect: Any) -> datetime | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else from_micros(value)


class Exact(TypeDecorator[Decimal]):
    """Exact money in 1/10000; refuses finer amounts."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Any) -> int | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else to_units(value)

    def process_result_value(self, value: Any, dialect: Any) -> Decimal | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else from_units(value)


class Day(TypeDecorator[date]):
    """A calendar day."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: date | None, dialect: Any) -> int | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else to_day(value)

    def process_result_value(self, value: Any, dialect: Any) -> date | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else from_day(value)


Word = TypeVar("Word", bound=StrEnum | str)


class Code(TypeDecorator[Word], Generic[Word]):
    """A word of a closed vocabulary, kept as its number."""

    impl = SmallInteger
    cache_ok = True

    def __init__(self, numbers: tuple[tuple[Word, int], ...]) -> None:
        super().__init__()
        self.numbers = numbers
        self._code = dict(numbers)
        self._word = {code: word for word, code in numbers}

    def process_bind_param(self, value: Word | None, dialect: Any) -> int | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else self._code[value]

    def process_result_value(self, value: Any, dialect: Any) -> Word | None:  # noqa: ARG002 -- SQLAlchemy's signature
        return None if value is None else self._word[value]
