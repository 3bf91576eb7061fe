"""Stock words of shops, and the availability members of schema.org."""

from __future__ import annotations

import re
from functools import cache, lru_cache
from typing import Final

from scrapers.model import Availability
from scrapers.texts.wordlist import read_sections

MAX_TEXT: Final = 400

# schema.org 30.0, ItemAvailability (12 members); the map is the project's own.
_SCHEMA: Final = {
    "instock": Availability.IN_STOCK,
    "onlineonly": Availability.IN_STOCK,
    "limitedavailability": Availability.LOW_STOCK,
    "preorder": Availability.PREORDER,
    "presale": Availability.PREORDER,
    "backorder": Availability.BACKORDER,
    "madetoorder": Availability.BACKORDER,
    "outofstock": Availability.OUT_OF_STOCK,
    "soldout": Availability.OUT_OF_STOCK,
    "reserved": Availability.OUT_OF_STOCK,
    "instoreonly": Availability.OUT_OF_STOCK,
    "discontinued": Availability.DISCONTINUED,
}
# Words of product metas and feeds beside schema.org's members (common practice).
_FEED: Final = {
    "available": Availability.IN_STOCK,
    "availablefororder": Availability.BACKORDER,
    "oos": Availability.OUT_OF_STOCK,
    "pending": Availability.PREORDER,
    "unavailable": Availability.OUT_OF_STOCK,
    "notavailable": Availability.OUT_OF_STOCK,
    "lowstock": Availability.LOW_STOCK,
    "limited": Availability.LOW_STOCK,
    "backordered": Availability.BACKORDER,
    "true": Availability.IN_STOCK,
    "false": Availability.OUT_OF_STOCK,
}


def schema_availability(value: object) -> Availability | None:
    """The availability that a schema.org member names, in any of its spellings.

    `value`: `https://schema.org/InStock`, `http://schema.org/ instock `, `InStock`,
    `in stock`, `in_stock`, a JSON object with `@id`, or a boolean. None for others.
    """
    if isinstance(value, dict):
        value = value.get("@id") or value.get("name")
    if isinstance(value, bool):
        value = str(value)
    if not isinstance(value, str) or len(value) > 200:
        return None
    return _member(value)


@lru_cache(maxsize=256)
def _member(value: str) -> Availability | None:
    name = re.split(r"[/#:]", value.strip().rstrip("/ "))[-1]
    key = re.sub(r"[\W_]+", "", name).casefold()
    return _SCHEMA.get(key) or _FEED.get(key)


# The start of a word; scripts that part no words have none.
_EDGE: Final = r"(?:(?<!\w)|(?<=[\u3040-\u30ff\u4e00-\u9fff\uac00-\ud7af]))"


@cache
def _patterns() -> tuple[tuple[Availability, re.Pattern[str]], ...]:
    """What each section of the word list says, in the order in which they are searched."""
    return tuple(
        (Availability(kind), re.compile(rf"{_EDGE}(?:{'|'.join(words)})", re.IGNORECASE))
        for kind, words in read_sections("stock_words.txt").items()
    )


_WORDS_BEFORE: Final = (
    r"(?:stock|lager|lagerbestand|bestand|verfügbar|voorraad|skladem|available|disponibili?|"
    r"quantity|qty|anzahl|lagersaldo|magazynie)"
)
_WORDS_AFTER: Final = (
    r"(?:in stock|available|auf lager|vorrätig|verfügbar|lagernd|en stock|op voorraad|disponibili|"
    r"disponibles|disponíveis|en existencias|em stock|em estoque|na stanie|varastossa|készleten|"
    r"raktáron|[îi]n stoc|pe stoc|skladem|na skladě|i lager|på lager|w magazynie|left in stock)"
)
_PIECES: Final = (
    r"(?:x |st\.? |ks |szt\.? |stk\.? |stück |pcs?\.? |pieces |items |units |unidades |"
    r"pezzi |pièces )"
)
_COUNT: Final = re.compile(
    rf"{_WORDS_BEFORE}\s*[:=(]?\s*[>~]?\s*(\d{{1,6}})"
    r"(?![\d.,]|\s?(?:%|-|\u2013|days?|tage?|weeks?|€|h\b))"
    rf"|[>~]?\s?(?<![\d.,-])(\d{{1,6}})\s?\+?\s*{_PIECES}?{_WORDS_AFTER}",
    re.IGNORECASE,
)
LOW: Final = 3


def says_few(text: str) -> bool:
    """Whether words tell of the last pieces; a small count alone ("3 in stock") does not."""
    few = next(pattern for kind, pattern in _patterns() if kind is Availability.LOW_STOCK)
    return few.search(" ".join(text[:MAX_TEXT].split())) is not None


def _counted(text: str) -> Availability | None:
    """A printed stock count: none, few, or enough."""
    found = _COUNT.search(text)
    if found is None:
        return None
    count = int(found[1] or found[2])
    if count == 0:
        return Availability.OUT_OF_STOCK
    return Availability.LOW_STOCK if count <= LOW else Availability.IN_STOCK


# Behind a count or "in stock": that more may be ordered than there are.
_REMARK: Final = re.compile(r"\s*\(([^()]{3,60})\)")
_MAY_BE: Final = re.compile(
    r"can be|may be|kann|können|pe(?:ut|uvent) être|puede|pu[oò] essere|possono essere|kan\b|"
    r"pode|może|można|możliwość|lze|může|možn|voidaan|voi\b|poate|\w+(?:ható|hető)\b",
    re.IGNORECASE,
)
# Words that goods which are gone may be ordered all the same.
_ORDERABLE: Final = re.compile(
    r"(?:can|may) (?:still )?be (?:back-?)?ordered|\bback-?order\w*|made to order|special order|"
    r"available (?:to|for|on) order|(?<!nicht )(?<!mehr )bestellbar|auf bestellung\b|"
    r"(?:wel|nog|wordt) te bestellen|(?:wel )?bestelbaar|op bestelling|sur commande|"
    r"commande possible|commandable|(?<!non )ordinabil[ei]|su ordinazione|bajo pedido|"
    r"por encargo|se puede pedir|(?:sob|por) encomenda|aceitamos encomendas|"
    r"na zamówienie|na objednávku|lze objednat|kan beställas|beställningsvara|bestillingsvare|"
    r"(?:order|bestell\w* (?:sie )?|bestil|beställ|nu bestellen) (?:now|jetzt|nu)\b|"
    r"skaffevare|kan bestilles|tilaustuote|(?<!nem )rendelhető|取り?寄せ",
    re.IGNORECASE,
)
_HELD: Final = (Availability.IN_STOCK, Availability.LOW_STOCK)
_LATER: Final = (Availability.BACKORDER, Availability.PREORDER)


def _held(text: str, later: Availability) -> Availability | None:
    """What is in stock, where a remark in brackets only adds that more can be ordered."""
    remark = _REMARK.search(text)
    if remark is None:
        return None
    bare = _REMARK.sub("", text)
    said = _plain(bare)
    signs = (_COUNT.search(bare), _MAY_BE.match(remark[1].strip()), later is Availability.BACKORDER)
    sure = sum(map(bool, signs)) > 1
    return said if sure and said in _HELD else None


def read_availability(text: str) -> Availability | None:
    """What stock words say, or None where they say nothing.

    A lead time alone ("Versand in 2-3 Tagen") means that the shop sends from stock;
    one of weeks means that it must get the goods first.
    """
    return _remembered(text) if len(text) <= _SHORT else _fresh(text)


def _fresh(text: str) -> Availability | None:
    plain = " ".join(text[:MAX_TEXT].replace("\u2019", "'").split())
    if not plain:
        return None
    known = _SCHEMA.get(re.sub(r"[\W_]+", "", plain).casefold())
    if known is not None:
        return known
    said = _plain(plain)
    if said is Availability.OUT_OF_STOCK and _ORDERABLE.search(plain):
        return Availability.BACKORDER
    return (_held(plain, said) if said in _LATER else None) or said


# The buttons and notes of one shop say the same on all of its pages.
_SHORT: Final = 100
_remembered = lru_cache(maxsize=2048)(_fresh)


def _plain(plain: str) -> Availability | None:
    for kind, pattern in _patterns():
        if pattern.search(plain):
            return _counted(plain) or kind if kind is Availability.IN_STOCK else kind
    return _counted(plain)
