"""What stands behind a number: its currency, a dash for cents, "per metre", "a month"."""

from __future__ import annotations

import re
from typing import Final

from scrapers.texts.clean import POINT
from scrapers.texts.currencies import CENT, SIGNS, Symbol, symbol
from scrapers.texts.tokens import DOLLAR_SIGN, NUMBER, SIGN, Role, Token

_POST: Final = re.compile(
    r"(?P<dash>\s?[.,]\s?[-\u2013\u2014=]{1,2}|:-|[.,](?=[-\s]*(?:$|[€$£])))?"
    rf"\s{{0,2}}(?:(?P<cur>{DOLLAR_SIGN}|JP¥|CN¥|{SIGN}|[\u0600-\u06ff]\.[\u0600-\u06ff]\.?|S/\.?|[^\W\d_]{{1,10}}\.?(?:-(?=$|\s))?)(?P<next>\s?[\d])?)?"
)
# One character tells whether a pattern is worth trying; most are not.
_TRAILS: Final = frozenset(" \t\n.,:$" + SIGNS)
# What mostly stands behind a number: a word (unless "$" follows: "US$"), a sign, a comma.
_IDLE: Final = re.compile(
    r" ?(?:([^\W\d_]{2,}+)(?!\s?[$¥/])|[-(|;+=~&%\[\u2013\u20140-9])"
    r"|[.,](?!\s?[-\u2013\u2014=]|[-\s]*(?:$|[€$£]))"
)
# The words that may be part of an amount beside currencies: "12 Mio", "50 ct", "4 € per m".
_TELLING: Final = frozenset(
    (
        "mio", "mln", "tys", "tis", "mrd", "mil", "mill", "million", "thousand", "lakh", "crore",
        "juta", "ribu", "bn", "ct", "cts", "cent", "cents", "pence", "pcm", "pm", "mtl", "per",
        "pro", "par", "al", "por", "im", "je", "le", "la", "el", "il", "au", "za", "na", "pr",
        "an", "the",
    )
)  # fmt: skip
_JOINED: Final = frozenset("万億억만元圆円圓원")  # of Chinese, Japanese, Korean: no blank behind
MAX_WORD: Final = 10  # letters of a currency's word
_ROUNDS: Final = frozenset("kKmMtTlLcCjJrRbB万億억만")
_COIN_STARTS: Final = frozenset("pP¢cC")
_MONTH_STARTS: Final = frozenset("/pPaAiIjJmM")
_PER_STARTS: Final = frozenset("/pPjJlLeEiIaAàÀzZnNtT")
_CENTS: Final = re.compile(r"\s?(\d\d)(?=$|\s?[*)])|(?<=\S)(\d\d)(?![\d.,%\w])")
_CLOCK: Final = re.compile(r":(\d\d)(?![\d:])(?=(\s?kr)?)", re.IGNORECASE)
_ROUNDED: Final = re.compile(
    r"[kKM](?![^\W\d_])|\s?(?:(?i:mio|mln|tys|tis|mrd|mill?|million|thousand|lakh|crore|juta|ribu|bn)\b\.?|[万億억만])"
)
# "45C" is a discharge rating, "99c" at the end of a text a price
_COINS: Final = re.compile(r"\s?(?:p|¢|c$|(?i:cts?|cents?|pence))\.?(?![^\W_])")
# What prices are "per", as shops write it; blanks inside a unit stand as "_" here.
_UNIT_NAMES: Final = """
    m2 m3 m² qm sqm sq_m sq.m sq._m square_metre square_metres square_meter square_meters cm2 ft2
    mq m cm mm mtr lfm lfdm lfd_m lfd.m lfd._m running_metre running_meter metre metres meter meters
    mètre mètres metro metros metri metr metru metra metry ft foot feet yard yards yd in inch
    kg kilo kilos kilogram kilograms kilogramm kilogramme kilogrammes mg g gram grams gramm gramms
    grame grames gramme grammes lb lbs pound pounds oz l ml cl dl ltr litre litres liter liters
    litro litros litri stück stücke stueck stuecke stk stck st piece pieces pc pcs pce pièce pièces
    unit units unité unités each ea stuk stuks pezzo pezzi pz unidad unidades ud uds pieza mb bm
    szt sztuk sztuka sztuki sztukę kus kusy kusů ks styck paar paare pair pairs paire paires
    sheet sheets roll rolls rolle rouleau rol platte bogen feuille pack packs pk set satz item
"""
UNITS: Final = frozenset(name.replace("_", " ") for name in _UNIT_NAMES.split())
UNIT_WORD: Final = f"(?:{'|'.join(sorted(map(re.escape, UNITS), key=len, reverse=True))})"
# Words are taken whole and looked up: to try a hundred of them one by one costs more.
A_UNIT: Final = (
    r"(?P<unit>(?:[0-9]+[0-9.,]*\s?)?"
    r"(?P<word>(?:sq\.? ?|square |lfd\.? ?|running )?[^\W\d_]+[23]?))(?![^\W_])"
)
_PER: Final = re.compile(
    r"\s?\*?\s?\)?\s?(?:/|\b(?:per|je|pro|par|le|la|el|il|al|au|à|a|por|za|na|pr|an|the)\b\.?|\bp[./]|\bl')\s?"
    rf"{A_UNIT}\.?",
    re.IGNORECASE,
)
_SPANS: Final = frozenset(
    (
        "mo", "mth", "month", "months", "monat", "monatlich", "mt", "mois", "mese", "mes", "maand",
        "misc", "mísc", "misíc", "mísíc", "mis", "mís", "miesiąc", "månad", "mån", "måned", "md",
        "mies", "miesięcznie", "měs", "měsíc", "měsíčně", "mês", "kk", "hó", "ay",
        "mtl", "week", "weeks", "wk", "woche", "year", "yr", "jahr", "an", "jaar", "anno", "año",
    )
)  # fmt: skip
_MONTHLY: Final = re.compile(
    r"\s?(?:p/m|pcm|pm|mtl)\b\.?|\s?p\.\s?m\."
    r"|\s?(?:/|\b(?:per|pro|par|al|por|im|a|je|p\.?)\b)\s?(?P<span>[^\W\d_]+)\b\.?",
    re.IGNORECASE,
)


def _with_dash(token: Token, text: str, found: re.Match[str]) -> None:
    if found["dash"]:
        token.end = found.end("dash")
        if found["dash"].strip() not in {".", ","} and len(re.split(r"[.,]", token.raw)[-1]) != 2:
            token.raw += f"{POINT}00"
        if found["dash"] == ":-":
            token.maybe = symbol("kr")  # mostly crowns are written so
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


def _belongs_tofollowing(found: re.Match[str], text: str) -> bool:
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
    if token.symbol is None and found["next"] and _belongs_tofollowing(found, text):
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
    coins = _COINS.match(text, token.end)
    if coins and len(token.raw) <= 4:
        token.minor_coin = True
        token.end = coins.end()
        coin = coins[0].strip().casefold()
        if coin in {"p", "pence"}:
            token.symbol = symbol("£")
        elif coin == "¢":
            token.maybe = CENT


def take(token: Token, text: str, *, signed: bool) -> None:
    """Take what stands behind the number into the token. `signed`: it has its sign already."""
    if not signed:
        _money(token, text)
    mark = text[token.end : token.end + 6].lstrip(" *)")[:1]
    if mark in _MONTH_STARTS and _is_monthly(token, text):
        token.role = Role.INSTALMENT
    elif mark in _PER_STARTS and (token.symbol is not None or mark == "/"):
        _unit(token, text)


def _money(token: Token, text: str) -> None:
    """A currency, a dash for cents, a small coin or "k" behind the number."""
    mark = text[token.end]
    if mark == " ":
        mark = text[token.end + 1 : token.end + 2]
    if mark in _ROUNDS and (rounded := _ROUNDED.match(text, token.end)):
        token.rounded = True
        token.end = rounded.end()
        if is_idle(text, token.end):
            return
        mark = text[token.end : token.end + 2].lstrip()[:1]
    if mark in _TRAILS or mark.isalpha():
        _post(token, text)
    if token.symbol is None and text[token.end : token.end + 2].lstrip()[:1] in _COIN_STARTS:
        _coin(token, text)


def is_idle(text: str, end: int) -> bool:
    """Whether what stands behind a number is surely no part of an amount, as it mostly is."""
    found = _IDLE.match(text, end)
    if found is None:
        return False
    word = found[1]
    if word is None:
        return True
    if word[0] in _JOINED or word.casefold() in _TELLING:
        return False
    return symbol(word[:MAX_WORD]) is None


def _is_monthly(token: Token, text: str) -> bool:
    found = _MONTHLY.match(text, token.end)
    if found is None or (found["span"] and found["span"].casefold() not in _SPANS):
        return False
    token.end = found.end()
    return True


def _unit(token: Token, text: str) -> None:
    """`/m`, `per 100 g` right after an amount."""
    per = _PER.match(text, token.end)
    if per and per["word"].casefold() in UNITS and (token.symbol is not None or "/" in per[0]):
        token.per = per["unit"]
        token.end = per.end()
