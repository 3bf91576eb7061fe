"""What the texts on a page mean: prices, stock words, amounts and specifications."""

from scrapers.errors import UnitError
from scrapers.texts.amounts import format_amount, parse_amount, read_amount
from scrapers.texts.units import UNITS, Dimension, convert, dimension, to_base

__all__ = [
    "UNITS",
    "Dimension",
    "UnitError",
    "convert",
    "dimension",
    "format_amount",
    "parse_amount",
    "read_amount",
    "to_base",
]
