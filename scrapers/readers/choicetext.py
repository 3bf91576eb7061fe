"""A choice that names its whole price: "10 cm - 12,90 €", "Pack of 25 ($4.25)"."""

# ruff: noqa: RUF001  # the dashes of pages

from __future__ import annotations

import re
from dataclasses import replace

from scrapers.model import Choice
from scrapers.readers.pricelike import MONEY
from scrapers.texts import read_availability, read_price

MAX_TEXT = 160
# The price stands at the end, maybe in brackets or before a word on tax.
_RUN = r"\d(?:[\d.'\u00a0\u202f]|,(?![-–—]))*+"
_PRICED = re.compile(
    rf"(?:{MONEY}\s?{_RUN}|(?<![\d.,']){_RUN}(?:(?:,[-–—])?\s?{MONEY}|,[-–—]|:-))"
    r"(?=[)\]*\s]*(?:\b(?:inc|inkl)\S*\s\S{2,6}[)\s]*)?\Z)"
)
_BETWEEN = " :;,|/=([·–—-"
_GLUED = re.compile(r"[+−±]\s*\Z|(?:^|[\s(\[])-\Z|[\d.,']\Z")  # a difference, or more of the number
_DIFFERENCE = re.compile(rf"[+−±]\s?(?:{MONEY}\s?\d|\d[\d.,]*+\s?{MONEY})|\badd\b")
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
    found = _PRICED.search(text) if len(text) <= MAX_TEXT else None
    if found is None or _GLUED.search(text[: found.start()]):
        return None
    name = text[: found.start()].rstrip(_BETWEEN)
    split = _SPLIT.search(name) and _THOUSANDS.match(found[0])
    if not name or split or _DIFFERENCE.search(text) or _SERVICE.search(text):
        return None
    told = read_price(found[0], locale=locale, currency=currency)
    if told is None or not told.amount or told.doubt or told.per:
        return None
    return Choice(name, price=told.amount, currency=told.currency)
