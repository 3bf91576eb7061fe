"""A choice that names its whole price: "10 cm - 12,90 €", "Pack of 25 ($4.25)"."""

# ruff: noqa: RUF001  # the dashes of pages

from __future__ import annotations

import re
from dataclasses import replace

from scrapers.model import Choice
from scrapers.readers.pricelike import MONEY
from scrapers.texts import read_availability, read_price

MAX_TEXT = 160
# The price stands at the end, maybe in brackets; behind a plus or minus it is a difference.
_PRICED = re.compile(
    rf"(.*?)[\s:;,|/=(\[·–—-]*(?<![+−±\d.,'])(?<![+−±]\s)(?<![\s(\[]-)"
    rf"((?:{MONEY}\s?\d[\d.,'\u00a0\u202f]*"
    rf"|\d[\d.,'\u00a0\u202f]*(?:(?:,[-–—])?\s?{MONEY}|,[-–—]|:-)))"
    r"[)\]*\s]*(?:\b(?:inc|inkl)\S*\s\S{2,6}[)\s]*)?\Z"
)
_DIFFERENCE = re.compile(rf"[+−±]\s?(?:{MONEY}\s?)?\d|\badd\b")
_SPLIT = re.compile(r"\d\s*\Z")  # "1 299 kr", or a size and its price: it cannot be told
_THOUSANDS = re.compile(r"\d{3}(?!\d)")
_REMARK = re.compile(r"\s*[-–(\[]\s*([^\W\d_][^\d()€$£]{2,24})[)\]]?\Z")  # "(sold out)"
_SERVICE = re.compile(
    r"warrant|garan[tz]|g[wv]aranc|protect|schutz|insur|versicher|assuranc|gift|geschenk|cadeau|"
    r"regal|install|montage|assembl|einbau|engrav|gravur|deliver|liefer|versand|shipping|express",
    re.IGNORECASE,
)


def priced_choice(text: str, locale: str | None, currency: str | None) -> Choice | None:
    """The choice of a text on one line; None where it names no whole price, or of a service."""
    remark = _REMARK.search(text)
    stock = read_availability(remark[1]) if remark else None
    made = _whole(text[: remark.start()] if remark and stock else text, locale, currency)
    return replace(made, availability=stock) if made and stock else made


def _whole(text: str, locale: str | None, currency: str | None) -> Choice | None:
    found = _PRICED.match(text) if len(text) <= MAX_TEXT else None
    if found is None or not found[1] or _DIFFERENCE.search(text) or _SERVICE.search(text):
        return None
    if _SPLIT.search(found[1]) and _THOUSANDS.match(found[2]):
        return None
    told = read_price(found[2], locale=locale, currency=currency)
    if told is None or not told.amount or told.doubt or told.per:
        return None
    return Choice(found[1], price=told.amount, currency=told.currency)
