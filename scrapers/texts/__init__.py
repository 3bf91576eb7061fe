"""What the texts on a page mean: prices, stock words, amounts and specifications."""

from scrapers.errors import UnitError
from scrapers.model import PriceText
from scrapers.texts.amounts import format_amount, parse_amount, read_amount
from scrapers.texts.currencies import is_currency, minor_units
from scrapers.texts.price import read_price
from scrapers.texts.stock import read_availability, schema_availability
from scrapers.texts.units import UNITS, Dimension, convert, dimension, to_base

__all__ = [
    "UNITS",
    "Dimension",
    "PriceText",
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
    "schema_availability",
    "to_base",
]
