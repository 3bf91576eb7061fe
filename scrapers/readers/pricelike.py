"""Whether a text looks like a price: an amount beside a currency, or with dashes for cents."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re

from scrapers.readers.words import widened
from scrapers.texts import is_currency

CURRENCY = re.compile(
    r"[€$£¥￥₹₽₺₩￦฿₪₫₴₸₱₦₿円元원đ]|грн|тг\b|บาท|د\.إ|ر\.س|ج\.م|ден\b|дин\b|"
    r"(?<![^\W\d_])[рР]\.?(?![^\W\d_])|"
    r"\b(?:[A-Z]{3}|[Ee]uros?|EURO|K[čc]|z[łl]|[Kk]r|Ft|[Ll]ei|лв|"
    r"руб|Fr|Rs|RM|Rp|TL|R)(?=\b|\.|\s|\d)|(?<=\d)(?:[Kk]r|z[łl]|K[čc]|Ft|[Ll]ei|лв|[A-Z]{3})\b|[,:]-"
)
MONEY = (
    r"(?:[€$£¥￥₹₽₺₩￦฿₪₫₴₱₦₿円元원]|(?<![^\W\d_])R[pMs](?![^\W\d_])\.?|đ\b|руб|грн|TL\b|₸|тг\b|บาท|د\.إ|ر\.س|ج\.م|(?<![^\W\d_])[A-Z]{3}\b|[Ee]uros?\b|EURO\b|Rs\b|K[čc]\b|z[łl]\b|[Kk]r\b|"
    r"Ft\b|[Ll]ei\b|лв|S?Fr\.|(?<![^\W\d_])[рР]\.?(?![^\W\d_]))"
)
PRICE_LIKE = re.compile(rf"{MONEY}\s?\d|\d(?:,[-–—]+)?\s?{MONEY}|\d[,:][-–—]")
_WIDE = widened(PRICE_LIKE.pattern)
MAX_SHORT = 40
AMOUNT = re.compile(r"\d[\d.,'’\u00a0\u202f]*")


def squeeze(text: str) -> str:
    """White space to single blanks."""
    return " ".join(text.split())


def is_price_like(text: str) -> bool:
    """Whether `PRICE_LIKE` is in the text; RE2 first says at once where a long one has none."""
    if len(text) > MAX_SHORT and _WIDE.search(text) is None:
        return False
    found = PRICE_LIKE.search(text)
    if found is None or not (code := _CODE.search(found[0])) or is_currency(code[0]):
        return found is not None
    return any(
        not (other := _CODE.search(m[0])) or is_currency(other[0])
        for m in PRICE_LIKE.finditer(text)
    )


_CODE = re.compile(r"[A-Z]{3}")  # "EUR 12", but not "LED 12"
