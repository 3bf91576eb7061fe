"""Numbers in a cleaned price text, with the currency and the "per unit" beside them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from scrapers.texts.clean import POINT
from scrapers.texts.currencies import SIGNS, Symbol, is_everyday, symbol

if TYPE_CHECKING:
    from decimal import Decimal


class Role(StrEnum):
    """What an amount is to a visitor. The values are the doubts that a lone one raises."""

    PRICE = "price"
    LIST = "list price"
    UNIT = "unit price"
    MULTI = "multi-buy"
    INSTALMENT = "instalment"
    SAVING = "saving"
    SHIPPING = "shipping"
    EXTRA = "difference"
    MEMBER = "member price"
    PRIOR = "prior price"
    TIMES = "quantity times price"
    NEGATIVE = "negative"
    THRESHOLD = "order value"
    UPTO = "up to"
    CART = "cart total"


@dataclass(slots=True)
class Token:
    """A number where it stands; `start` to `end` cover its currency and unit too."""

    start: int
    end: int
    raw: str
    symbol: Symbol | None
    per: str | None = None
    minor_coin: bool = False
    negative: bool = False
    rounded: bool = False
    lead_digit: bool = True  # the number stands before its currency
    fixed: bool = False  # known as the price of one unit: no word around it changes that
    role: Role = Role.PRICE
    value: Decimal | None = None
    code: str | None = None

    @property
    def is_whole(self) -> bool:
        return self.raw.isdigit()


_SIGN: Final = rf"(?:(?<![^\W_])(?:JP|CN)¥|[{re.escape(SIGNS)}])"
_DOLLAR: Final = (
    r"(?:(?<![^\W\d_])(?:USA?|AU|A|CAN?|CDN|C|NZ|HK|SG|S|NT|MX|Mex|R|AR|CL|COL?|J|TT|EC|FJ|N|U|"
    r"USD|AUD|CAD|NZD|HKD|SGD|TWD|MXN|BRL|ARS|CLP|COP)\s?)?\$(?:\s?(?:USD?|SU|CAD?|AUD?|U|NZ)(?![^\W\d_]))?"
)
NUMBER: Final = re.compile(
    rf"(?:\d{{1,3}}(?:[ ']\d{{3}}(?!\d))+|\d+)(?:[.,'{POINT}]\d+)*|(?<![\w.,])[.,]\d+(?:[.,]\d+)*"
)
_PRE: Final = re.compile(
    rf"({_DOLLAR}|{_SIGN}|S/\.?|[\u0600-\u06ff]\.[\u0600-\u06ff]\.?|(?<![^\W_])[^\W\d_]{{1,10}}\.?)[\s:]{{0,2}}(-?)\s?\.?$"
)
_POST: Final = re.compile(
    r"(?P<dash>\s?[.,]\s?[-\u2013\u2014=]{1,2}|:-|[.,](?=[-\s]*(?:$|[€$£])))?"
    rf"\s{{0,2}}(?:(?P<cur>{_DOLLAR}|JP¥|CN¥|{_SIGN}|[\u0600-\u06ff]\.[\u0600-\u06ff]\.?|S/\.?|[^\W\d_]{{1,10}}\.?(?:-(?=$|\s))?)(?P<next>\s?[\d])?)?"
)
_GLUED: Final = re.compile(r"(?:_|(?![\u3040-\u9fff\uac00-\ud7af])[^\W\d_])$")
_CENTS: Final = re.compile(r"\s?(\d\d)(?=$|\s?[*)])|(?<=\S)(\d\d)(?![\d.,%\w])")
_CLOCK: Final = re.compile(r":(\d\d)(?![\d:])(?=(\s?kr)?)", re.IGNORECASE)
_ROUNDED: Final = re.compile(
    r"[kKM](?![^\W\d_])|\s?(?:(?i:mio|mln|tys|tis|mrd|mill?|million|thousand|lakh|crore|juta|ribu|bn)\b\.?|[万億억만])"
)
# "45C" is a discharge rating, "99c" at the end of a text a price
_COINS: Final = re.compile(r"\s?(?:p|¢|c$|(?i:cts?|cents?|pence))\.?(?![^\W_])")
UNIT_WORD: Final = (
    r"(?:m2|m3|qm|sqm|sq\.? ?m|square met(?:re|er)s?|m²|cm2|lfdm|lfm|"
    r"lfd\.? ?m|running met(?:re|er)|metres?|meters?|mètres?|metros?|"
    r"metri|metr[uay]?|mq|mtr|m|cm|mm|ft2|ft|foot|feet|yards?|yd|in|inch|kilogra(?:mm?|mmes?|ms)|kg|kilos?|gramm?e?s?|"
    r"mg|g|lbs?|pounds?|oz|litres?|liters?|litros?|litri|ltr|liter|l|ml|cl|dl|st(?:ü|ue)cke?|stk|stck|"
    r"st|pieces?|pcs?|pce|pièces?|unités?|units?|unité|each|ea|stuks?|pezz[oi]|pz|unidad(?:es)?|uds?|"
    r"pieza|mb|bm|szt(?:uk[aię]?)?|kus[yů]?|ks|styck|paare?|pairs?|paires?|paar|sheets?|rolls?|rolle|rouleau|"
    r"rol|platte|bogen|feuille|packs?|pack|pk|set|satz|meter|item)"
)
_PER: Final = re.compile(
    r"\s?\*?\s?\)?\s?(?:/|\b(?:per|je|pro|par|le|la|el|il|al|au|à|a|por|za|na|pr|an|the)\b\.?|\bp[./]|\bl')\s?"
    rf"(?P<unit>(?:\d+[\d.,]*\s?)?{UNIT_WORD})(?![^\W_])\.?",
    re.IGNORECASE,
)
_MONTHLY: Final = re.compile(
    r"\s?(?:/|\b(?:per|pro|par|al|por|im|a|je|p\.?)\b)\s?"
    r"(?:mo|mth|months?|monat|monatlich|mt|mois|mese|mes|maand|m[ií]sí?c|miesiąc|månad|mån|måned|md|"
    r"mtl|weeks?|wk|woche|year|yr|jahr|an|jaar|anno|año)\b\.?"
    r"|\s?(?:p/m|pcm|pm|mtl)\b\.?|\s?p\.\s?m\.",
    re.IGNORECASE,
)


def _pre(text: str, floor: int, start: int) -> tuple[Symbol, int, bool, bool] | None:
    """The currency before a number: symbol, where it starts, a minus inside, a bare word."""
    found = _PRE.search(text, max(floor, start - 14), start)
    if found is None:
        return None
    meant = symbol(found[1])
    if meant is None:
        return None
    return meant, found.start(1), found[2] == "-", found[1][0].isalpha()


def _with_dash(token: Token, text: str, found: re.Match[str]) -> None:
    if found["dash"]:
        token.end = found.end("dash")
        if found["dash"].strip() not in {".", ","} and len(re.split(r"[.,]", token.raw)[-1]) != 2:
            token.raw += f"{POINT}00"
    clock = _CLOCK.match(text, token.end) if token.is_whole else None
    if clock:  # "12:50 kr" is money; without the crowns it may be a time
        token.raw += (POINT if clock[2] else ":") + clock[1]
        token.end = clock.end(1)


def _take_cents(token: Token, text: str) -> None:
    """`12€99` and `12 € 99`: what follows the sign of a whole number is its cents."""
    cents = _CENTS.match(text, token.end)
    if cents and token.is_whole:
        token.raw += POINT + (cents[1] or cents[2])
        token.end = cents.end()


def _belongs_to_next(found: re.Match[str], text: str) -> bool:
    """` €10`: the sign stands off this number and touches the next one."""
    after = found.end("cur")
    spaced = text[found.start("cur") - 1].isspace()
    if not spaced or not text[after : after + 1].isdigit() or found["cur"][0].isalpha():
        return False
    number = NUMBER.match(text, after)
    return number is None or text[number.end() :].lstrip()[:1] != found["cur"]


def _post(token: Token, text: str) -> None:
    """Take the currency after the number, unless it is the next number's."""
    found = _POST.match(text, token.end)
    if found is None:
        return
    _with_dash(token, text, found)
    if token.end != found.end("dash") and token.end != found.start():
        found = _POST.match(text, token.end) or found
    meant = symbol(found["cur"].rstrip("-")) if found["cur"] else None
    if meant is None:
        return
    if token.symbol is not None and (found["next"] or not _agree(token.symbol, meant)):
        return
    if token.symbol is None and found["next"] and _belongs_to_next(found, text):
        return
    first = token.symbol is None
    token.symbol = meant if first or len(meant.codes) == 1 else token.symbol
    token.end = found.end("cur")
    if first:
        _take_cents(token, text)


def _agree(before: Symbol, after: Symbol) -> bool:
    return any(code in before.codes for code in after.codes)


def _coin(token: Token, text: str) -> None:
    """`99p`, `99¢`, `50 ct`: a hundredth of a currency that the context gives."""
    coins = _COINS.match(text, token.end) if token.symbol is None else None
    if coins and len(token.raw) <= 4:
        token.minor_coin = True
        token.end = coins.end()
        if coins[0].strip().casefold() in {"p", "pence"}:
            token.symbol = symbol("£")


def _suffixes(token: Token, text: str) -> None:
    if token.end == len(text):
        return
    rounded = _ROUNDED.match(text, token.end)
    if rounded:
        token.rounded = True
        token.end = rounded.end()
    _post(token, text)
    _coin(token, text)
    if token.end == len(text):
        return
    monthly = _MONTHLY.match(text, token.end)
    if monthly:
        token.role = Role.INSTALMENT
        token.end = monthly.end()
        return
    per = _PER.match(text, token.end)
    if per and (token.symbol is not None or "/" in per[0]):
        token.per = per["unit"]
        token.end = per.end()


def _token(text: str, floor: int, found: re.Match[str]) -> Token | None:
    token = Token(found.start(), found.end(), found[0], None)
    before = _pre(text, floor, token.start)
    if before is not None:
        token.symbol, token.start, token.negative, is_word = before
        token.lead_digit = False
        code = text[token.start : token.start + 3]
        if is_word and is_everyday(code) and token.is_whole:
            token.symbol, token.start = None, found.start()
    before_it = text[max(0, found.start() - 3) : found.start()]
    glued = _GLUED.search(before_it) is not None
    dots = before_it[len(before_it.rstrip(".,")) :]
    if dots and not before_it.rstrip(".,")[-1:].isalpha() and not before_it[-2:-1].isspace():
        # "$..75" is read, "1..2" stays undecided
        token.raw = (dots if before_it.rstrip(".,")[-1:].isdigit() else dots[-1]) + token.raw
    _suffixes(token, text)
    return None if glued and token.symbol is None else token


def tokens(text: str) -> list[Token]:
    """All numbers of a cleaned text that may be amounts, in order."""
    out: list[Token] = []
    floor = 0
    while found := NUMBER.search(text, floor):
        token = _token(text, floor, found)
        floor = max(found.end(), token.end if token else 0)
        if token is not None and text[token.end : token.end + 2].lstrip()[:1] != "%":
            out.append(token)
    return out
