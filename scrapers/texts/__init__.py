"""What the texts on a page mean: prices, stock words, amounts and specifications."""

from scrapers.errors import UnitError
from scrapers.model import PriceText
from scrapers.texts.amounts import format_amount, parse_amount, read_amount
from scrapers.texts.currencies import is_currency, minor_units
from scrapers.texts.price import read_price
from scrapers.texts.soldas import SoldAs, read_sold_as
from scrapers.texts.spec import Spec, read_spec
from scrapers.texts.stock import read_availability, schema_availability
from scrapers.texts.units import UNITS, Dimension, convert, dimension, to_base

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
    "schema_availability",
    "to_base",
]
