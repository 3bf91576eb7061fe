"""What the names that themes give to elements (classes, ids, hooks) tell of their content."""

from __future__ import annotations

import re

from scrapers.readers.words import widened

MAX_NAMES = 20_000
PRICED, STOCKED, TIERED, NUMBERED = 1, 2, 4, 8
# what builders of sites with made-up class names call an element by
CALLED = (
    "data-hook", "data-testid", "data-test-id", "data-test", "data-qa", "data-qaid", "data-aid",
    "data-cy", "data-automation", "data-automation-id", "automation-id", "data-name", "data-e2e",
    "data-locator", "data-selenium",
)  # fmt: skip
# names that shops of many tongues give to elements with an amount in them
PRICE_NAMES = (
    "price", "preis", "prix", "prijs", "precio", "prezzo", "cena", "pris", "preco", "hinta",
    "amount", "money", "cost", "betrag", "brutto", "netto", "line-through", "strike",
    "compare", "uvp", "rrp", "msrp", "crossed", "struck", "streich", "durchgestrichen", "tachado",
    "doorgestreept", "barrato", "przekre", "skreslon", "genomstruk", "overstreg", "riscado",
    r"(?<![a-z])(?:was|old|now|before)(?![a-z])",
)  # fmt: skip
STOCK_NAMES = (
    "stock",
    "avail",
    "lager",
    "inventory",
    "dispo",
    "sold-out",
    "soldout",
    "deliverytime",
    "voorraad",
    "lever",
    "lieferbar",
    "lieferzeit",
    "magazyn",
    "dostup",
    "sklad",
    "status",
    "dostep",
    "last_quantit",
)
_PRICE_WORD = re.compile("|".join(PRICE_NAMES), re.IGNORECASE)
_STOCK_WORD = re.compile("|".join(STOCK_NAMES), re.IGNORECASE)
_NUMBER_WORD = re.compile(
    r"sku|product-(?:number|reference|code)|ordernumber|product_reference|artnr|"
    r"article-?number|artikelnummer"
)
_TIER_WORD = re.compile(
    r"tier|bulk|volume|staffel|block-?price|graduated|qty-?break|multi-?buy|quantity-?(?:discount|"
    r"break|price)|"
    r"product-discounts",
    re.IGNORECASE,
)
# one look tells that most names tell nothing
_ANY_WORD = widened(
    "|".join(p.pattern for p in (_PRICE_WORD, _STOCK_WORD, _TIER_WORD, _NUMBER_WORD)),
    case_blind=True,
)


def _named(text: str) -> int:
    if _ANY_WORD.search(text) is None:
        return 0
    return (
        PRICED * bool(_PRICE_WORD.search(text))
        | STOCKED * bool(_STOCK_WORD.search(text))
        | TIERED * bool(_TIER_WORD.search(text))
        | NUMBERED * bool(_NUMBER_WORD.search(text))
    )


class Names(dict[str | None, int]):
    """What a class or id text tells, each judged once; forgets all when it has grown too large."""

    def __missing__(self, text: str | None) -> int:
        if len(self) > MAX_NAMES:
            self.clear()
        mark = self[text] = _named(text[:400]) if text else 0
        return mark


NAMES = Names()
