"""Prices that need several units: "2 for 30", "3 pour 2", "ab 10 Stück je 4,50 €"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

from scrapers.model import Multibuy

if TYPE_CHECKING:
    from decimal import Decimal

    from scrapers.texts.tokens import Token

_COUNT: Final = (
    r"(?:sheets?|rolls?|packs?|bags?|boxes|sets?|pairs?|tubes?|rods?|bottles?|platten|tafeln|"
    r"rollen|beutel|paare?|feuilles?|plaques?|rouleaux|paires?|platen|fogli|rotoli|hojas|rollos|"
    r"st(?:ü|ue)ck|stk\.?|stck\.?|st\.?|pieces?|pcs?\.?|pce|units?|items?|pièces?|unités?|"
    r"articles?|stuks?|pezzi|pz\.?|unidades|uds?\.?|sztuk|szt\.?|ks|kusů|kusy|styck|packs?|paar|"
    r"pairs?|sets?|x)"
)
_EACH: Final = (
    r"(?:je|à|a|á|each|per|pro|at|zu|für|for|nur|only|just|@|x|piece|st(?:ü|ue)ck|stk\.?|"
    r"stückpreis|einzelpreis|l'unité|unité|par|per stuk|styckpris|jeweils|unit price|price|preis|"
    r"get them for|=|pour|now|save|kosten|cadauno|cad|cada|za|po|eur|usd|gbp)"
)
_SINCE: Final = (
    r"(?:ab|from|dès|à partir d[e']|vanaf|da|desde|a partir de|a partire da|od|från|fra|"
    r"bei(?: abnahme von)?|bij|min\.?|mind\.?|mindestens|minimum|at least|quantity|qty|menge|"
    r"staffel)"
)
_FROM: Final = rf"(?:{_SINCE}|buy|buy any|kaufen sie|achetez|kup|köp|køb)"
_FOR: Final = r"(?:for|für|fuer|pour|voor|per|por|za|för|zum preis von)"
_FILL: Final = r"(?:\s*(?:only|nur|just|seulement|slechts|solo|tylko|the price of|now|:))?\s*"

_LOT_BEFORE: Final = re.compile(
    rf"(?<![\d.,])(\d{{1,3}})\s*(?:{_COUNT}\s*)?(?:{_FOR}{_FILL}|/)$", re.IGNORECASE
)
_LOT_AFTER: Final = re.compile(
    rf"^\s*(?:for|für|fuer|pour|voor|för|je|per)\s+(\d{{1,3}})\s*(?:{_COUNT})?\s*[.)!*]*\s*$",
    re.IGNORECASE,
)
_TIER_WORD: Final = re.compile(
    rf"(?<!\w){_FROM}\s*:?\s*(\d{{1,5}})(?:\s*\+)?\s*"
    rf"(?:(?:{_COUNT})(?!\w)|[:=(+]|(?={_EACH}\s*$))\s*"
    rf"(?:(?:{_EACH}|[:=(\-,\u2013])\s*)*$",
    re.IGNORECASE,
)
_SINCE_BEFORE: Final = re.compile(rf"(?<!\w){_SINCE}\s*$", re.IGNORECASE)
_WORDED: Final = re.compile(r"[^0-9]*?(?:[^\W\d_]|/)[^0-9]*[0-9]")
_LAST_NUMBER: Final = re.compile(r"[0-9]++(?![^0-9]*[0-9])")
_WORD_ENDS: Final = frozenset(("'", "."))
_DASHES: Final = frozenset(("-", "\u2013"))
MAX_LEAD: Final = 24  # characters of words before a number that say "from"
_MORE: Final = (
    r"(?:\+|or more|and more|and up|and above|oder mehr|und mehr|et plus|ou plus|of meer|en meer|"
    r"o más|y más|o più|lub więcej|a více|eller fler|eller flere|&\s*up)"
)
_TIER_MORE: Final = re.compile(
    rf"(?<![\d.,])(\d{{1,5}})\s*{_MORE}\s*(?:{_COUNT})?\s*(?:(?:{_EACH}|[:=(\-\u2013])\s*)*$",
    re.IGNORECASE,
)
_TIER_SPAN: Final = re.compile(
    rf"(?<![\d.,])(\d{{1,5}})\s*[-\u2013]\s*\d{{1,5}}\s*(?:{_COUNT})?\s*(?:(?:{_EACH}|[:=])\s*)*$",
    re.IGNORECASE,
)
_UNTIL: Final = re.compile(
    rf"(?<!\w)(?:until|up to|bis(?: zu)?|jusqu'à|tot|hasta|fino a)"
    rf"\s*\d{{1,5}}\s*(?:{_COUNT})?\s*:?\s*$",
    re.IGNORECASE,
)
_TIER_BARE: Final = re.compile(rf"(?<!\w){_FROM}\s+(\d{{1,5}})\s+$", re.IGNORECASE)
_TIER_EACH: Final = re.compile(
    rf"(?<![\d.,])(\d{{1,5}})\s*{_COUNT}\s*(?:je|à|each|@|zu je)\s*$", re.IGNORECASE
)
_TIER_AFTER: Final = re.compile(
    rf"^\W{{0,3}}(?P<each>(?:each|je|pro|per|/|a|l'|the)?\s*(?:unité|piece|{_COUNT})?)\W{{0,3}}"
    rf"(?:if you buy|when you buy|when buying|for|{_FROM})\s*(?P<n>\d{{1,5}})\s*"
    rf"(?P<more>\+|or more|and more|oder mehr|of meer|et plus|o más|{_COUNT}(?!\w))?",
    re.IGNORECASE,
)
_DIGIT: Final = re.compile(r"\d")
_MONEY: Final = r"(?![\d.,%]|\s*(?:[€$£¥₹]|(?:eur|euros?|zł|kr|kč|lei|chf|usd|gbp|ft)\b))"
_GIFT: Final = r"(?:gratis|free|kostenlos|gratuit|offerte?|zdarma|gratuito|grátis|geschenkt)"
_PAY: Final = re.compile(
    rf"(?<![\w.,€$£])(?P<n>\d)\s*(?:{_FOR}|the price of|x|=|zum preis von|for the price of)\s*"
    rf"(?P<m>\d){_MONEY}(?!\w)"
    r"|(?:take|get|buy|prendi|lleva|achetez|koop|nimm|kup|köp|køb|ta|tag)\s*(?P<g>\d)\W+"
    rf"(?:and )?(?:pay|paghi|paga|payez|betaal|zahle?|zapłać|betala|betal)"
    rf"\s*(?:f[oö]r\s*)?(?P<h>\d){_MONEY}"
    r"|(?<![\w.,])(?P<i>\d)\s*(?:kaufen|nehmen|acheter|kopen|halen|köp)\W+(?P<j>\d)\s*(?:be)?(?:zahlen|payer|talen|tala)"
    rf"|(?<![\w.,])(?P<a>\d)\s*\+\s*(?P<b>\d)\s*{_GIFT}"
    r"|(?:buy|kaufe?n?|achete[rz]|koop|compra|kup)\s*(?:sie\s*)?(?P<c>\d|one)\W+"
    rf"(?:get|erhalte?n?|sie|krijg|otrzymaj)?\s*(?P<d>\d|one)\s*{_GIFT}"
    rf"|(?P<e>\d)\s*achetés?\W{{1,3}}(?P<f>\d)\s*{_GIFT}",
    re.IGNORECASE,
)


# Two numbers with a word, "x", "+" or "=" between, the first of one digit: told at once.
_MAY_PAY: Final = re.compile(r"[0-9](?<![0-9.,][0-9])[^0-9]*[a-zA-Z+=][^0-9]*[0-9]|[oO][nN][eE]")


Quantity = tuple[int, Literal["lot", "each"]]


@dataclass(frozen=True, slots=True)
class Deal:
    """Take `take`, pay `pay`: "3 pour 2", "2 + 1 gratis". `start`, `end`: where it stands."""

    take: int
    pay: int
    start: int
    end: int

    def at(self, price: Decimal) -> Multibuy:
        return Multibuy(self.take, price * self.pay, "lot")


def find_deal(text: str) -> Deal | None:
    """A "take so many, pay fewer" note in a cleaned text."""
    found = _PAY.search(text) if _MAY_PAY.search(text) else None
    if found is None:
        return None
    given = {
        key: 1 if value == "one" else int(value)
        for key, value in found.groupdict().items()
        if value
    }
    first, second = given.values()
    told = given.keys() <= {"n", "m", "g", "h", "i", "j"}
    take, pay = (first, second) if told else (first + second, first)
    return Deal(take, pay, found.start(), found.end()) if 0 < pay < take else None


@lru_cache(maxsize=1024)  # the rows of a table say the same words, and so do other pages
def _before(gap: str) -> Quantity | None:
    """What stands before an amount; every pattern ends there, with the gap's last number."""
    number = _LAST_NUMBER.search(gap)
    if number is None:
        return None
    at = number.start()
    head = max(0, at - MAX_LEAD)
    tail, lead = number.end() < len(gap), gap[head:at].rstrip(" :")[-1:]
    lot = _LOT_BEFORE.match(gap, at) if tail else None
    if lot and int(lot[1]) > 1:
        return int(lot[1]), "each" if _SINCE_BEFORE.search(gap, head, at) else "lot"
    worded = lead.isalpha() or lead in _WORD_ENDS
    if worded and _UNTIL.search(gap, head):
        return 1, "each"
    found = (
        (_TIER_WORD.search(gap, head) if worded else None)
        or (_TIER_MORE.match(gap, at) if tail else None)
        or (_TIER_SPAN.search(gap, head) if lead in _DASHES else None)
        or (_TIER_EACH.match(gap, at) if tail else None)
        or (_TIER_BARE.search(gap, head) if worded else None)
    )
    return (int(found[1]), "each") if found else None


@lru_cache(maxsize=1024)
def _after(gap: str, *, is_last: bool) -> Quantity | None:
    if not _WORDED.match(gap):
        return None
    lot = _LOT_AFTER.match(gap)
    if lot and int(lot[1]) > 1:
        return int(lot[1]), "lot"
    found = _TIER_AFTER.match(gap)
    if found is None or not (found["more"] or found["each"].strip()):
        return None
    rest = gap[found.end() :].strip()
    if is_last or rest[:1] in set(",;|)."):
        return int(found["n"]), "each"
    return None


def quantity_of(token: Token, before: str, after: str, *, is_last: bool) -> Quantity | None:
    """How many units the amount of `token` is for, and whether for the lot or each."""
    found = _before(before)
    if found is None and _DIGIT.search(after) is None:
        return None
    if (
        found
        and found[1] == "lot"
        and after.lower().lstrip().startswith(("each", "je ", "à l'unité", "per piece"))
    ):
        found = (found[0], "each")
    if found and token.per and found[1] == "lot":
        found = (found[0], "each")
    return found or _after(after, is_last=is_last)
