"""What the words in and around an amount's text call the amount."""

from __future__ import annotations

import re

from scrapers.readers import labels
from scrapers.readers.pricelike import AMOUNT, PRICE_LIKE
from scrapers.readers.sums import without_rates

_BY_LABEL = (
    ("lowest30", labels.LOWEST30), ("points", labels.POINTS), ("tier", labels.TIER),
    ("instalment", labels.INSTALMENT), ("shipping", labels.SHIPPING), ("eco", labels.ECO),
    ("used", labels.USED), ("converted", labels.APPROX), ("other", labels.EXTRA),
    ("member", labels.MEMBER),
    ("saving", labels.SAVING),
)  # fmt: skip
# before an amount that is not of the thing itself
_OTHERS = (labels.SET, labels.ASIDE, labels.GIFT_CARD)
# the same in the amount's own text; before it, "2 years of warranty" may be a badge
_SERVICES = (labels.EXTRA, labels.PLAN)
_WITH_CLAIMS = (*_BY_LABEL, ("list", labels.LIST), ("regular", labels.REGULAR))
_LEADING = (("shipping", labels.SHIPPING), ("instalment", labels.INSTALMENT))
_LETTERS = re.compile(r"[^\W\d_]{2}")
_OFF = re.compile(
    r"\s*(?:(?:off|saved|discount|cash-?back|rabatt|korting|de remise|sconto)\b(?!\s*:)|"
    r"할인(?!가|판매)|割?引き?)",
    re.IGNORECASE,
)
_MONTHLY = re.compile(
    r"\s*(?:(?:/|per|pro|je)\s*(?:mo|mes|mese|maand|mois)|"
    r"[x\u00d7]\s?\d{1,2}\s?(?:mon(?:ths?|ate?)|mois|mes(?:es|i)|maanden|m[åa]n(?:ad\w*|eder)|"
    r"m[ěe]s[íi]c\w*|miesi\w+|raten?|mensualit\w+|cuotas?|payments?|instal\w*)\b)",
    re.IGNORECASE,
)
# "3x", "4 payments": how often, not how much
_TIMES = re.compile(
    r"(?<![\d.,])\d{1,2}\s?(?:[x\u00d7](?!\w)|(?=(?:interest|payment|instal|rat[aey]|raten|termijn|cuota|"
    r"mois|mensualit|monat|month|pagament|paiement|pagos|versement|parcela|spl[áa]t|delbetal)))",
    re.IGNORECASE,
)
# an amount before its currency begins there
_BEGUN = re.compile(r"\d[\d.,'\u2019 \u00a0\u202f]*\Z")
# "3 new from 9.50", "2 offers from": what others ask
_SELLERS = re.compile(
    r"\b\d+\s+(?:other )?(?:new|used|sellers?|offers?|neue?|angebote?|anbieter|vendeurs?|offres?|"
    r"neufs?|nieuwe?|nuev[oa]s?|nuov[oi]|now[ey]|nov[ée]|nya|nye|gebrauchte?|"
    r"verkopers?|aanbied\w+|venditori|offerte|vendedores|ofertas?|s[äa]ljare|s[æa]lgere)\b[^\d]{0,12}\Z",
    re.IGNORECASE,
)
_PIECES = re.compile(
    r"\b(?:st(?:[üu]cks?|k|uks?)?|pcs?|pieces?|each|szt\w*|ks|kus|pi[èe]ces?|unidad|unit[éà]|unit|pezz[oi]|"
    r"paar|pair|paire|par|set|pack\w*|kpl|db|rol\w*|artikel|item)\b|€|£|\d",
    re.IGNORECASE,
)

# "Content: 100 pieces (0.12 € / 1 piece)"
_A_PIECE = (
    r"(?:st(?:[üu]cks?|k|uks?)?|pcs?|pieces?|pi[èe]ces?|szt\w*|ks|pz|pezz[oi]|uds?|unidad\w*|kpl|"
    r"db)\b\.?"
)
_EACH_OF_MANY = re.compile(
    rf"(?<![\d.,])(?:[2-9]|[1-9]\d{{1,4}})\s?{_A_PIECE}\s?\(\s?[^\d()]{{0,5}}\d[\d.,]*"
    rf"[^\d()/]{{0,6}}(?:/|\b(?:per|pro|je|par|al|por|za))\s?(?:1\s?)?{_A_PIECE}",
    re.IGNORECASE,
)


def by_label(text: str, before: str, after: str) -> str | None:
    """The kind that the amount's text and the words around it name; None where they name none."""
    words = f"{before} {text}"
    if not _LETTERS.search(words) and not _LETTERS.search(after) and "%" not in words:
        return None
    if _is_service(text):
        return "other"
    bare = _TIMES.sub("", without_rates(text))
    if (prior := labels.LOWEST30.search(text)) and not AMOUNT.search(text[: prior.start()]):
        return "lowest30"
    if "(" in words and _EACH_OF_MANY.search(words):
        return "unit"
    if len(AMOUNT.findall(bare)) > 1:
        found = "converted" if labels.APPROX.search(text) else _led_by(f"{before} {text}")
    else:
        found = _labelled(words, f"{before} {AMOUNT.split(bare, 1)[0]}", before)
    if found is None and _OFF.match(after):
        return "saving"
    return found or ("instalment" if _MONTHLY.match(after) else None)


def _is_service(text: str) -> bool:
    """Whether an amount's own text calls it what a guarantee or a protection costs."""
    money = PRICE_LIKE.search(text)
    lead = _BEGUN.sub("", text[: money.start()]) if money else ""
    return len(lead) > 3 and any(pattern.search(lead) for pattern in _SERVICES)


def _led_by(text: str) -> str | None:
    """What the words before the first of several amounts say of all of them."""
    money = PRICE_LIKE.search(text)
    lead = _BEGUN.sub("", text[: money.start()]) if money else AMOUNT.split(text, 1)[0]
    if _SELLERS.search(lead):
        return "used"
    if money and labels.VOUCHER.search(text) and labels.SAVING.search(text):
        return "other"  # "10 off orders over 50 with code ..."
    taxed = labels.GROSS.search(text) or labels.NET.search(text)
    if taxed and labels.LIST.search(lead) and not labels.CURRENT.search(lead):
        return "list"  # with and without tax: "\u5b9a\u4fa1 3,980 (\u7a0e\u8fbc 4,378)"
    return next((kind for kind, pattern in _LEADING if pattern.search(lead)), None)


def _labelled(words: str, lead: str, before: str) -> str | None:
    """What the words around the one amount of a text say; `lead`: those before it."""
    now = labels.CURRENT.search(before) and not _claims(lead[len(before) :])
    if any(pattern.search(lead) for pattern in _OTHERS):
        return "other"
    if labels.NEWSLETTER.search(words):
        return "other"
    if labels.UNIT.search(lead) and not _PIECES.search(lead):
        return "unit"
    if not now and labels.LIST.search(lead) and not labels.SAVING.search(lead):
        return "list"
    claims = _BY_LABEL if now else _WITH_CLAIMS
    return next((kind for kind, pattern in claims if pattern.search(words)), None)


def _claims(text: str) -> bool:
    """Whether the amount's own text calls it an old or a list price."""
    return bool(labels.LIST.search(text) or labels.REGULAR.search(text))
