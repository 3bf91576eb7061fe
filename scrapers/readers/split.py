"""The text of a price whose pieces stand in several elements: whole, mark, cents, currency."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

# the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from itertools import pairwise
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.readers import labels, zones
from scrapers.readers.cards import NAMED, NOWHERE
from scrapers.readers.pricelike import CURRENCY, MONEY, PRICE_LIKE, squeeze


def price_text(node: LexborNode) -> str:
    """The text of a price element: split cents joined, screen-reader and hidden copies left out."""
    parts: list[str] = []
    _parts(node, parts, 0)
    if len(parts) > 3 and all(len(part) == 1 for part in parts):
        return "".join(parts)  # themes that roll each digit in a box of its own
    return joined(parts)


def joined(parts: list[str]) -> str:
    """Pieces of text as they look: cents joined to what they belong to."""
    made = ""
    for part in parts:
        if TWO_DIGITS.match(part) and (whole := _EURO_AHEAD.search(made)):
            digits = made[: whole.start() + 1]  # "164 €" and a raised "99"
            made = f"{digits}{'.' if _COMMAS.search(digits) else ','}{part} €"
        else:
            made += _glue(made, part) + part
    return squeeze(made)


def is_cents(node: LexborNode) -> bool:
    """A raised or so named end of a price: "6" and "49"."""
    return node.tag == "sup" or _FRACTION.search(node.attributes.get("class") or "") is not None


_FRACTION = re.compile(
    r"fraction|cents?\b|decimal|centimes?\b|centavos?\b|centimos?\b|nachkomma|kopecks?\b|grosz",
    re.IGNORECASE,
)
# "$164", "1.749 \u20ac" without cents, before an element with nothing but two digits
WHOLE = re.compile(rf"(?:{MONEY}\s?)?\d{{1,3}}(?:[.,'\u2019 \u00a0\u202f]?\d{{3}})*\s?{MONEY}?\Z")
TWO_DIGITS = re.compile(r"\d\d(?:\s?\*)?\Z")


def ends_in_cents(whole: LexborNode, rest: set[int]) -> bool:
    """Whether the next element holds the cents: so named or raised, or two digits close behind."""
    end, between = whole.next, ""
    if end is not None and end.is_text_node:
        between, end = end.text_content or "", end.next
    if end is None or not end.is_element_node or not TWO_DIGITS.match(squeeze(end.text())):
        return False
    apart = between.strip() not in ("", ".", ",") or (between.isspace() and not is_cents(end))
    return not apart and rest <= {end.mem_id}


# one plain amount: however its pieces stand, the whole text reads right
CLEAN = re.compile(rf"(?:{MONEY}\s?)?\d{{1,6}}[.,]\d\d(?:\s?{MONEY})?\Z")


class Run(NamedTuple):
    """Children of an element that make one price: their text with blanks, their elements' ids.

    `beside`: other children hold digits too.
    """

    text: str
    nodes: frozenset[int]
    beside: bool


_END = "\ue000"  # no blank, unlike the separators of ASCII: between the texts of two children
_SIGN = rf"{MONEY}\.?"
_NUMBER = r"\d{1,3}(?:[.,'’ \u00a0\u202f]?\d{3})*"
_RUN = re.compile(
    rf"(?:(?<=\s)|(?<={_END})|^)(?:(?<!\d)(?<!\d\s){_SIGN}[\s{_END}]?)?{_NUMBER}(?:\s?{_SIGN})?"
    rf"(?:[.,]{_END}|{_END}[.,]{_END}|{_END}[.,])(?:\d\d|[-–—]{{1,2}})(?:[\s{_END}]?{_SIGN}(?!\s?\d))?"
    rf"(?=[\s*{_END}]|$)"
)
_MARK = re.compile(rf"{_END}\s?[.,]|[.,]\s?{_END}")
MAX_PIECES = 24
MAX_PIECE = 60


def split_in(node: LexborNode) -> Run | None:
    """The one price whose decimal mark ends or begins the text of a child; None where none is.

    "129" and ",95 €", "€ 129," and "95", "129", "," and "95".
    """
    pieces = _pieces(node)
    whole = _END.join(text for text, _ in pieces)
    found = list(_RUN.finditer(whole)) if _MARK.search(whole) else []
    if len(found) != 1:
        return None if found else _unmarked(node, pieces)
    start, end = found[0].span()
    first, last = whole.count(_END, 0, start), whole.count(_END, 0, end)
    return Run(
        squeeze(found[0][0].replace(_END, " ")),
        frozenset(child.mem_id for _, child in pieces[first : last + 1]),
        _digits(whole[:start] + whole[end:]) not in ("", _digits(found[0][0])),
    )


def _digits(text: str) -> str:
    """The digits alone: a copy of the price for readers aloud has the same."""
    return "".join(c for c in text if c.isdigit())


def _pieces(node: LexborNode) -> list[tuple[str, LexborNode]]:
    """The children of an element that show a short text, with that text."""
    made: list[tuple[str, LexborNode]] = []
    child = node.child
    while child is not None and len(made) < MAX_PIECES:
        if child.is_text_node or (child.is_element_node and not _unseen(child)):
            text = squeeze(child.text()[: 4 * MAX_PIECE])
            if text and len(text) <= MAX_PIECE:
                made.append((text, child))
        child = child.next
    return made


def _unmarked(node: LexborNode, pieces: list[tuple[str, LexborNode]]) -> Run | None:
    """Whole and cents with the currency beside one of them, no mark: "129" and "95 \u20ac".

    The cents are raised or so named, or the two close together are all that the element shows.
    """
    pieces = [piece for piece in pieces if piece[1].tag not in _STRUCK]
    for n, ((one, left), (two, right)) in enumerate(pairwise(pieces)):
        if not (_CENTS_SIGNED.match(two) and WHOLE.match(one)):
            continue
        signs = [
            s for s in (*pieces[max(0, n - 1) : n], *pieces[n + 2 : n + 3]) if _ALL.match(s[0])
        ]
        signs = [] if CURRENCY.search(one + two) else signs[:1]
        if not signs and not CURRENCY.search(one + two):
            continue
        raised = right.is_element_node and is_cents(right)
        close = left.next is not None and left.next.mem_id == right.mem_id
        alone = len(pieces) == 2 or CURRENCY.match(one) is not None
        if raised or (close and alone and node.tag not in _ROWS):
            used = [(one, left), (two, right), *signs]
            rest = len(pieces) > len(used) and any(c.isdigit() for c in _but(pieces, used))
            text = " ".join(t for t, _ in used)
            return Run(text, frozenset(child.mem_id for _, child in used), rest)
    return None


def _but(pieces: list[tuple[str, LexborNode]], used: list[tuple[str, LexborNode]]) -> str:
    held = {child.mem_id for _, child in used}
    return "".join(text for text, child in pieces if child.mem_id not in held)


_STRUCK = frozenset({"del", "s", "strike"})
_ALL = re.compile(rf"{_SIGN}\Z")
_CENTS_SIGNED = re.compile(rf"(?:{_SIGN}\s?)?\d\d(?:\s?{_SIGN})?(?:\s?\*)?\Z")
# what shows a number of its own before the price: a size, a count
_ROWS = frozenset({"button", "label", "li", "tr", "a", "dl", "summary"})

_EURO_CENTS = re.compile(r"€\s?\d{2}\Z")  # "15" and a raised "€90"
_CENTS = re.compile(r"\d{2}(?:\D|\Z)")
_ALONE = re.compile(rf"\d{{2}}\s?(?:{MONEY}\.?)?\s?\*?\Z")
_MARKED = re.compile(r"([.,])(\d+)\Z")
_COMMAS = re.compile(r",\d{3}\Z")
_EURO_AHEAD = re.compile(r"(?<![.,]\d)\d\s?€\Z")


def _glue(before: str, part: str) -> str:
    if not before or not part:
        return ""
    if _CENTS.match(part) and before[-1].isdigit():
        mark = _MARKED.search(before)
        short = len(part.strip()) <= 4 or _ALONE.match(part.strip()) is not None
        if mark is None:
            return "." if short else " "
        if len(mark[2]) == 3 and short:  # the sign of thousands: "1.749" and a raised "30"
            return "," if mark[1] == "." else "."
    if _EURO_CENTS.match(part) and before[-1].isdigit():
        return ""
    if (before[-1] in ".," and part[0].isdigit()) or part[0] in ".,":
        return ""
    return " "


def _parts(node: LexborNode, parts: list[str], depth: int) -> None:
    child = node.child
    while child is not None and depth < 12 and len(parts) < 60:
        if child.is_text_node:
            text = (child.text_content or "").strip()
            if text:
                parts.append(text)
        elif child.is_element_node and not _unseen(child) and not _sells_another(child, parts):
            _parts(child, parts, depth + 1)
        child = child.next


def _sells_another(node: LexborNode, before: list[str]) -> bool:
    """What offers another thing, behind an amount: a link with words and an amount ("new: 229").

    Or a box whose link has a name of several words, with the amount behind it.
    """
    if node.tag not in _OFFERS or not any(PRICE_LIKE.search(part) for part in before):
        return False
    link = node if node.tag == "a" else node.css_first("a[href]")
    if link is None or (link.attributes.get("href") or "#").startswith(NOWHERE):
        return False
    found = PRICE_LIKE.search(text := squeeze(node.text(separator=" ")))
    lead = text[: found.start()] if found else ""
    if node.tag == "a":
        return NAMED.search(lead) is not None and not labels.CURRENT.search(lead)
    name = squeeze(link.text(separator=" "))
    several = len(NAMED.findall(name)) > 1 and name in lead and len(name) <= MAX_PIECE
    return several and not any(words.search(name) for words in _LABELS)


_OFFERS = frozenset({"a", "div", "li", "p", "section"})
_LABELS = (labels.LIST, labels.REGULAR, labels.SAVING, labels.SHIPPING, labels.NET, labels.GROSS)


def _unseen(node: LexborNode) -> bool:
    attrs = node.attributes
    if (node.tag or "") in ("script", "style", "template", "svg", "select", "textarea"):
        return True
    if not attrs:
        return False
    named = attrs.get("class") or ""
    return bool(
        "hidden" in attrs
        or zones.SPOKEN_CLASS.search(named)
        or zones.HIDDEN_CLASS.search(named)
        or zones.HIDDEN_STYLE.search(attrs.get("style") or "")
    )
