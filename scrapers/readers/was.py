"""A list price that only words tell: "RRP £60", "Ord. 599:-", "statt 15,--" in plain text."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from selectolax.lexbor import LexborNode

from scrapers.readers import labels
from scrapers.readers.claims import Seen
from scrapers.readers.places import Places
from scrapers.readers.pricelike import CURRENCY, PRICE_LIKE, squeeze
from scrapers.readers.split import price_text
from scrapers.readers.words import Words
from scrapers.texts import read_price

MAX_BLOCK = 700  # characters: a block that says more is not the price's own
MAX_CLIMB = 5
_LETTERS = "A-Za-zÀ-ž"
_AMOUNT = (
    rf"(?:[{_LETTERS}]{{2,3}}\.? ?|[€$£¥￥₹₩₱฿] ?)?"
    r"\d[\d.,'’\xa0]*(?: \d{3}(?!\d)[.,]?\d{0,2})*(?:,?[-–—]|:-)?"
)
_SIGN = rf"(?: ?(?:[€$£¥￥₹₩₱฿円元원]|[{_LETTERS}]{{1,3}}\b\.?))?"
# the word, nothing but a colon or a bracket, the amount
_TOLD = Words(
    r"(?<![\w.,])(?:rrp|m\.?s\.?r\.?p\.?|srp|m\.?r\.?p\.?|list(?: price)?|"
    r"(?:sugg(?:ested|\.) )?retail(?: price)?|"
    r"recommended (?:retail )?price|market price|catalog(?:ue)? price|"
    r"was|were|originally|instead of|before|reg(?:ular|\.)?(?: price)?|normally|compare at|"
    r"uvp(?: des herstellers)?|unverb(?:indliche|\.) preisempf(?:ehlung|\.)(?: des herstellers)?|"
    r"statt|listenpreis|unser (?:alter|bisheriger|normaler) preis|alter preis|bisher|vorher|"
    r"prix (?:conseill[ée]|public(?: conseill[ée])?|de vente conseill[ée]|barr[ée]|initial)|pvc|"
    r"au lieu de|ancien prix|adviesprijs|advies|oude prijs|normale prijs|van|"
    r"prezzo (?:consigliato|di listino|pieno|originale|precedente)|anzich[ée]|invece di|"
    r"precio (?:recomendado|anterior|original|de lista)|p\.?v\.?p\.?(?:r\.?| recomendado)?|antes|"
    r"pre[çc]o (?:recomendado|anterior|original)|pvpr|"
    r"cena (?:katalogowa|regularna|przed (?:obni[żz]k[ąa]|promocj[ąa])|poprzednia|sugerowana)|"
    r"stara cena|zamiast|p[ůu]vodn[íi](?: cena)?|p[ôo]vodn[áa](?: cena)?|b[ěe][žz]n[áa](?: cena)?|"
    r"be[žz]n[áa] cena|doporu[čc]en[áa](?: cena)?|odpor[úu][čc]an[áa](?: cena)?|m[íi]sto|"
    r"ord(?:inarie|in[æa]rt?)?\.?(?: ?pris)?|rek\.? ?(?:ca)?pris|rek\.?|tidigare(?: pris)?|"
    r"f[øö]r(?:pris)?|vejl\.?(?: ?(?:udsalgs)?pris)?|veil\.?(?: ?pris)?|normalpris|"
    r"ennen|norm(?:aali(?:hinta)?)?\.?|ovh|suositushinta|prima|avant|"
    r"定価|通常価格|(?:メーカー)?希望小売価格|参考価格|建[議议](?:零)?售[價价]|原售價|定價|原價|原价|市场价|정가|소비자가|"
    r"eredeti [áa]r|kor[áa]bbi [áa]r|list[aá][áa]r|r[ée]gi [áa]r)"
    rf"(?![{_LETTERS}])\s*[:(：]?\s*({_AMOUNT}{_SIGN})"
)
# words of many uses: they must stand right beside the price
_LOOSE = re.compile(
    r"(?:van|f[øö]r|before|was|were|antes|bisher|vorher|m[íi]sto|rek|ennen|prima|avant)\b",
    re.IGNORECASE,
)
_NOT_DIGIT = re.compile(r"\D")


def beside(now: Seen, places: Places, locale: str | None, currency: str | None) -> Seen | None:
    """The list price that the price's own block tells in words; None where it tells none."""
    for block in _blocks(now.node, places):
        text = _words(places.text(block))
        if not text:
            return None
        struck = _struck(now, block, locale, currency)
        if struck is not None:
            return struck
        told_so = _TOLD.search(text) is not None
        if not told_so and "%" not in text:
            continue
        text = price_text(block)
        if len(text) > MAX_BLOCK:
            return None
        for found in _TOLD.finditer(text) if told_so else ():
            if PRICE_LIKE.search(found[1]) or not CURRENCY.search(now.text):
                told = read_price(found[1], locale=locale, currency=currency)
                if (
                    told is not None
                    and told.amount is not None
                    and _list_of(now, told.amount, found)
                ):
                    return replace(
                        now, amount=told.amount, kind="list", text=found[0][:90], node=None
                    )
        if (by_rate := _by_percent(now, text, locale, currency)) is not None:
            return by_rate
    return None


def _words(text: str) -> str:
    """The words of a block with single blanks; none of a block that says too much."""
    head = text[: 8 * MAX_BLOCK]
    if len(head) > 4 * MAX_BLOCK and len(head) - sum(map(head.count, _BLANKS)) > 2 * MAX_BLOCK:
        return ""  # surely too long, without a look at each of its words
    words = text.split(None, MAX_BLOCK)
    made = " ".join(words) if len(words) <= MAX_BLOCK else ""
    return made if len(made) <= 2 * MAX_BLOCK else ""


_BLANKS = (" ", "\n", "\t", "\xa0")
_PERCENT = re.compile(r"(?<![\d.,])(\d{1,2}(?:[.,]\d{1,2})?)\s?%")
_MONEY = re.compile(rf"{_AMOUNT}{_SIGN}")


def _by_percent(now: Seen, text: str, locale: str | None, currency: str | None) -> Seen | None:
    """The one higher amount that the printed percentage leads to the price from."""
    rates = [Decimal(m[1].replace(",", ".")) for m in _PERCENT.finditer(text)][:4]
    found: dict[Decimal, str] = {}
    for part in _MONEY.finditer(text) if rates else ():
        lead = _SINCE.search(text, max(0, part.start() - MAX_LEAD), part.start())
        if lead is not None and labels.SHIPPING.search(lead[0]):
            continue  # what sending it costs
        if len(found) < MAX_SUMS and PRICE_LIKE.search(part[0]):
            told = read_price(part[0], locale=locale, currency=currency)
            if told is not None and told.amount is not None:
                found.setdefault(told.amount, part[0])
    fits = [a for a in found if a > now.amount and any(_off(now.amount, a, r) for r in rates)]
    if len(fits) != 1:
        return None
    return replace(now, amount=fits[0], kind="list", text=found[fits[0]][:90], node=None)


MAX_SUMS = 12
MAX_LEAD = 40
_SINCE = re.compile(r"[^\d.]*\Z")  # the words since the last amount or sentence
_HALF_POINT = Decimal("0.6")


def led_by_rate(lower: Seen, higher: Seen) -> bool:
    """Whether the block around two amounts prints the percentage that leads from one to the other.

    The amounts may stand in elements of their own that no name tells apart.
    """
    at = lower.node.parent if lower.node is not None else None
    digits = _NOT_DIGIT.sub("", higher.text)
    for _ in range(MAX_CLIMB):
        text = at.text(separator=" ")[: 8 * MAX_BLOCK] if at is not None else ""
        if at is None or at.tag == "body" or len(squeeze(text)) > MAX_BLOCK:
            return False
        rates = [Decimal(m[1].replace(",", ".")) for m in _PERCENT.finditer(text)][:4]
        if rates and digits in _NOT_DIGIT.sub("", text):
            return any(_off(lower.amount, higher.amount, r) for r in rates)
        at = at.parent
    return False


def _off(price: Decimal, listed: Decimal, rate: Decimal) -> bool:
    return rate > 1 and abs((1 - price / listed) * 100 - rate) <= _HALF_POINT


_STRUCK = '[style*="line-through"]'


def _struck(now: Seen, block: LexborNode, locale: str | None, currency: str | None) -> Seen | None:
    """The amount that a style strikes out, in an element whose names say nothing."""
    for node in block.css(_STRUCK)[:4]:
        text = price_text(node)[:90]
        told = read_price(text, locale=locale, currency=currency)
        if (
            told is not None
            and told.amount is not None
            and now.amount < told.amount < now.amount * 8
        ):
            return replace(now, amount=told.amount, kind="list", text=text, node=None)
    return None


def _list_of(now: Seen, amount: Decimal, found: re.Match[str]) -> bool:
    if not now.amount < amount < now.amount * 8 or _is_quantity(now, found):
        return False
    if not _LOOSE.match(found[0]):
        return True
    near = found.string[max(0, found.start() - 30) : found.end() + 30]
    digits = f"{now.amount.normalize():f}".replace(".", "")
    return digits in _NOT_DIGIT.sub("", near)


def _is_quantity(now: Seen, found: re.Match[str]) -> bool:
    """A bare whole number before pieces or before another amount ("van 50 stuks 21,95")."""
    if not found[1].isdigit():
        return False
    after = _ROW_OF.match(found.string, found.end())
    if after is None or after[1] is None:
        return after is not None
    return _NOT_DIGIT.sub("", after[1]) != _NOT_DIGIT.sub("", f"{now.amount:f}")


_ROW_OF = re.compile(
    r"\s*(?:(?:st(?:uks?|[üu]ck|k)?|pcs?|pieces?|pi[èe]ces?|pezzi|pz|uds?|unidades|szt|ks|kpl|db|"
    r"tot|t/m|bis|[àa]|al?|to|of meer|or more)\b|[-–]\s*\d|[:=]?\s*[€$£]?\s?(\d+[.,]\d{2})(?!\d))",
    re.IGNORECASE,
)


def _blocks(node: LexborNode | None, places: Places) -> Iterator[LexborNode]:
    at = node.parent if node is not None else None
    for _ in range(MAX_CLIMB):
        if at is None or at.tag in (None, "body", "html", "-undef"):
            return
        yield at
        if at.mem_id in places.above and places.above[at.mem_id] > 2:
            return
        at = at.parent
