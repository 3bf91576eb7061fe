"""What the texts on a page mean: prices, stock words, amounts and specifications.

Parts load on first use: their patterns cost more to make than most commands take.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from scrapers.errors import UnitError
from scrapers.model import PriceText

if TYPE_CHECKING:
    from scrapers.texts.amounts import format_amount, parse_amount, read_amount
    from scrapers.texts.currencies import is_currency, minor_units
    from scrapers.texts.price import read_price
    from scrapers.texts.soldas import SoldAs, read_sold_as
    from scrapers.texts.spec import Spec, read_spec
    from scrapers.texts.stock import read_availability, says_few, schema_availability
    from scrapers.texts.units import UNITS, Dimension, convert, dimension, to_base, wire_mm2

_HOMES = {
    "UNITS": "units",
    "Dimension": "units",
    "SoldAs": "soldas",
    "Spec": "spec",
    "convert": "units",
    "dimension": "units",
    "format_amount": "amounts",
    "is_currency": "currencies",
    "minor_units": "currencies",
    "parse_amount": "amounts",
    "read_amount": "amounts",
    "read_availability": "stock",
    "read_price": "price",
    "read_sold_as": "soldas",
    "read_spec": "spec",
    "says_few": "stock",
    "schema_availability": "stock",
    "to_base": "units",
    "wire_mm2": "units",
}

__all__ = [
    "UNITS",
    "Dimension",
    "PriceText",
    "SoldAs",
    "Spec",
    "UnitError",
    "convert",
    "dimension",
    "format_amount",
    "is_currency",
    "minor_units",
    "parse_amount",
    "read_amount",
    "read_availability",
    "read_price",
    "read_sold_as",
    "read_spec",
    "says_few",
    "schema_availability",
    "to_base",
    "wire_mm2",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{home}"), name)
    globals()[name] = value
    return value
