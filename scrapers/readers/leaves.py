"""Elements that hold a price text: the innermost, split prices whole, with their words around."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.readers import labels
from scrapers.readers.places import Place, Places
from scrapers.readers.words import widened
from scrapers.texts import is_currency

MAX_TEXT = 160
MAX_LEAVES = 120
ENOUGH = 4  # amounts of other things: more of them tell no more
_DIGIT = re.compile(r"\d")
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
_WORD = re.compile(r"[^\W\d_]{5}")
_FRAGMENT = re.compile(r"[\d.,'’\s\u00a0\u202f]{1,15}(?:,?[-–—])?\Z")
_LISTS = frozenset({"table", "tbody", "tr", "ul", "ol", "dl"})
_MARKED_UP = frozenset({"lowPrice", "highPrice", "price"})


class Leaf(NamedTuple):
    """An element that holds a price text, with its place."""

    node: LexborNode
    place: Place
    raw: str
    own: bool = False  # only the text directly in the element; its children are leaves too
    line: bool = False  # one of the lines of the element, with all its words


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


def leaves(
    nodes: list[LexborNode], places: Places, *, plain: bool = False
) -> tuple[list[Leaf], int]:
    """Innermost elements with a price text; fragments of one price give way to their parent.

    Beside them how many stand in zones of other things, counted up to `ENOUGH`.
    """
    kept: list[Leaf] = []
    inside: dict[int, list[int]] = {}
    elsewhere = 0
    for node in reversed(nodes[: MAX_LEAVES * 30]):
        aside = elsewhere >= ENOUGH and not plain and places.of(node).zone == "other"
        raw = "" if aside else node.text()
        if len(raw) > 2_000 or not _DIGIT.search(raw) or _is_list(node):
            continue
        if plain and not is_price_like(squeeze(raw)):
            continue
        place = places.of(node)
        if place.zone == "other":
            elsewhere += 1
            continue
        # what microdata has read is no plain text, and what lies around it is its label
        text = "" if plain and _marked(node) else squeeze(raw)
        held = inside.get(node.mem_id)
        own = len(text) > MAX_TEXT or node.mem_id in places.above
        text, own = _told_by(node, kept, held, text, own=own)
        if held and not own:
            for n in held:
                kept[n] = kept[n]._replace(raw="")
        if (own or plain) and text and not is_price_like(text):
            continue
        if len(text) <= MAX_TEXT:
            _cover(inside, node, len(kept), places)
            kept.append(Leaf(node, place, text, own))
    return [leaf for leaf in reversed(kept) if leaf.raw][:MAX_LEAVES], elsewhere


def _is_list(node: LexborNode) -> bool:
    """Rows of amounts, which are read cell by cell."""
    return node.tag in _LISTS and len(PRICE_LIKE.findall(node.text(separator=" "))) > 1


def _marked(node: LexborNode) -> bool:
    attrs = node.attributes
    return not _MARKED_UP.isdisjoint((attrs.get("itemprop"), attrs.get("property")))


def _fragments(kept: list[Leaf], held: list[int], text: str) -> bool:
    """Whether the inner texts are pieces ("12", "95") of the one price in `text`."""
    inner = [kept[n] for n in reversed(held) if kept[n].raw]
    if len(text) > 40 or not inner:
        return False
    if any(leaf.place.zone == "hidden" for leaf in inner):
        return False
    if len({leaf.place.struck for leaf in inner}) > 1 or _WORD.search(text):
        return False  # two prices, or a label between them
    if _WHOLE.match(inner[0].raw) and _ends_in_cents(inner[0].node, inner[1:]):
        return True
    if any(_LONG.search(leaf.raw) and not _is_cents(leaf.node) for leaf in inner[1:]):
        return False  # another price, not the cents of the first
    bare = all(_FRAGMENT.match(leaf.raw) for leaf in inner)
    cents = len(inner) > 1 or _is_cents(inner[0].node)
    return bare and bool(CURRENCY.search(text) or cents) and len(AMOUNT.findall(text)) <= 2


_LONG = re.compile(r"\d\D?\d\D?\d|\d[,:][-–—]")


def _told_by(
    node: LexborNode, kept: list[Leaf], held: list[int] | None, text: str, *, own: bool
) -> tuple[str, bool]:
    """The element's whole text, or the one directly in it where its children tell their own.

    A copy for screen readers beside the pieces of a price is neither.
    """
    if not own and (held is None or _fragments(kept, held, text)):
        return text, False
    pieces = [n for n in ([] if own or held is None else held) if kept[n].place.zone != "spoken"]
    inner = [kept[n].raw for n in pieces if kept[n].raw]
    if len(inner) > 1 and all(_FRAGMENT.match(raw) for raw in inner):
        text = price_text(node)
        if _fragments(kept, pieces, text):
            return text, False
    return squeeze(node.text(deep=False)), True


def _is_cents(node: LexborNode) -> bool:
    """A raised or so named end of a price: "6" and "49"."""
    return node.tag == "sup" or _FRACTION.search(node.attributes.get("class") or "") is not None


_FRACTION = re.compile(
    r"fraction|cents?\b|decimal|centimes?\b|centavos?\b|centimos?\b|nachkomma|kopecks?\b|grosz",
    re.IGNORECASE,
)
# "$164", "1.749 \u20ac" without cents, before an element with nothing but two digits
_WHOLE = re.compile(rf"(?:{MONEY}\s?)?\d{{1,3}}(?:[.,'\u2019 \u00a0\u202f]?\d{{3}})*\s?{MONEY}?\Z")
_TWO_DIGITS = re.compile(r"\d\d(?:\s?\*)?\Z")


def _ends_in_cents(whole: LexborNode, rest: list[Leaf]) -> bool:
    """Whether the next element holds the cents: so named or raised, or two digits close behind."""
    end, between = whole.next, ""
    if end is not None and end.is_text_node:
        between, end = end.text_content or "", end.next
    if end is None or not end.is_element_node or not _TWO_DIGITS.match(squeeze(end.text())):
        return False
    apart = between.strip() not in ("", ".", ",") or (between.isspace() and not _is_cents(end))
    return not apart and all(leaf.node.mem_id == end.mem_id for leaf in rest)


def _cover(inside: dict[int, list[int]], node: LexborNode, number: int, places: Places) -> None:
    at, climbed = node.parent, 0
    while at is not None and at.mem_id not in places.above and climbed < 12:
        inside.setdefault(at.mem_id, []).append(number)
        at, climbed = at.parent, climbed + 1


def is_card(node: LexborNode) -> bool:
    """Whether the element is one of several like boxes, each with a picture, a link, an amount."""
    link = node.css_first("a[href]")
    if link is None:
        return False
    beside = (_element(node, forward=forward) for forward in (True, False))
    return any(_alike(node, near) and _as_card(node, near, link) for near in beside if near)


def _alike(one: LexborNode, other: LexborNode) -> bool:
    """The same tag and class, but for what tells the single thing ("post-4711 onsale last")."""
    if one.tag != other.tag:
        return False
    named, like = one.attributes.get("class"), other.attributes.get("class")
    if named == like:
        return True
    first, second = set((named or "").split()), set((like or "").split())
    return 2 * len(first & second) >= max(1, min(len(first), len(second)))


def _as_card(node: LexborNode, near: LexborNode, link: LexborNode) -> bool:
    """Two like boxes with an amount each: pictured ones, or ones that link to two named things."""
    if not _DIGIT.search(near.text()):
        return False
    if _pictured(node):
        return _pictured(near)
    other = near.css_first("a[href]")
    if other is None or len(near.text()) > MAX_CARD:
        return False
    one, two = squeeze(link.text()), squeeze(other.text())
    named = one != two and min(len(one.split()), len(two.split())) > 1
    return (
        named
        and link.attributes.get("href") != other.attributes.get("href")
        and bool(PRICE_LIKE.search(near.text(separator=" ")))
    )


MAX_CARD = 400
_ENTRIES = frozenset({"li", "article"})
_TITLES = "h2, h3, h4, h5"
_PICTURE = re.compile(r"\.(?:jpe?g|png|webp|gif|avif)(?:[?#]|\Z)", re.IGNORECASE)


def is_entry(node: LexborNode) -> bool:
    """Whether an element of a list shows another thing: by a linked picture, or a title each."""
    if _names_another(node):
        return True
    if node.tag not in _ENTRIES:
        return False
    beside = (_element(node, forward=forward) for forward in (True, False))
    titled = any(
        near is not None and near.tag == node.tag and _titled(near) for near in beside
    ) and _titled(node)
    return titled or (_shows_another(node) and node.css_first("button, form") is None)


def _names_another(node: LexborNode) -> bool:
    """A small box whose picture and words lead to one and the same other page."""
    links = node.css("a[href]")[:6]
    pictured = {_away(a) for a in links if a.css_first("img") is not None} - {None}
    return (
        bool(pictured)
        and len(node.text()) <= MAX_CARD
        and any(_away(a) in pictured and _NAMED.search(a.text()) is not None for a in links)
    )


def _away(link: LexborNode) -> str | None:
    """Where a link leads, if neither nowhere nor to a picture."""
    href = link.attributes.get("href") or "#"
    return None if href.startswith(_NOWHERE) or _PICTURE.search(href) else href


def _titled(node: LexborNode) -> bool:
    """A title and an amount in one box."""
    return node.css_first(_TITLES) is not None and is_price_like(node.text(separator=" "))


def _shows_another(node: LexborNode) -> bool:
    """A picture that leads away, not to a larger copy of itself."""
    links = node.css("a[href]")[:4]
    return any(_away(a) is not None and a.css_first("img") is not None for a in links)


def is_linked_alone(node: LexborNode, places: Places) -> bool:
    """Whether the box around an amount holds nothing else but a link: the card of another thing."""
    at = node.parent
    for _ in range(3):
        if at is None or at.mem_id in places.above:
            return False
        text = places.text(at)
        if len(text) > MAX_ALONE:
            return False
        link = at.css_first("a[href]")
        if link is not None:
            named = link.text(separator=" ")
            rest = PRICE_LIKE.sub(" ", text.replace(named, " ", 1))
            away = not (link.attributes.get("href") or "#").startswith(_NOWHERE)
            return away and bool(_NAMED.search(named)) and not _WORDS.search(rest)
        at = at.parent
    return False


MAX_ALONE = 200
_NAMED = re.compile(r"[^\W\d_]{2}")
_WORDS = re.compile(r"[^\W\d_]{3}")
_NOWHERE = ("#", "javascript:", "mailto:", "tel:")


def _pictured(node: LexborNode) -> bool:
    return node.css_first("a[href]") is not None and node.css_first("img") is not None


def _element(node: LexborNode, *, forward: bool) -> LexborNode | None:
    at = node.next if forward else node.prev
    for _ in range(5):
        if at is None or at.is_element_node:
            return at
        at = at.next if forward else at.prev
    return None


def price_text(node: LexborNode) -> str:
    """The text of a price element: split cents joined, screen-reader and hidden copies left out."""
    parts: list[str] = []
    _parts(node, parts, 0)
    if len(parts) > 3 and all(len(part) == 1 for part in parts):
        return "".join(parts)  # themes that roll each digit in a box of its own
    return _joined(parts)


def _joined(parts: list[str]) -> str:
    """Pieces of text as they look: cents joined to what they belong to."""
    made = ""
    for part in parts:
        if _TWO_DIGITS.match(part) and (whole := _EURO_AHEAD.search(made)):
            digits = made[: whole.start() + 1]  # "164 €" and a raised "99"
            made = f"{digits}{'.' if _COMMAS.search(digits) else ','}{part} €"
        else:
            made += _glue(made, part) + part
    return squeeze(made)


def own_text(leaf: Leaf) -> str:
    """The text directly in the leaf, with what belongs to it in its midst: cents, a linked word."""
    parts: list[str] = []
    for child in leaf.node.iter(include_text=True):
        text = squeeze(child.text())
        cents = _TWO_DIGITS.match(text) and _is_cents(child)
        word = child.tag == "a" and len(text) <= MAX_SHORT and not _DIGIT.search(text)
        if text and (child.is_text_node or cents or word):
            parts.append(text)
    return _joined(parts) if len(parts) > 1 and not leaf.line else leaf.raw


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
    """A link with words and an amount of its own, behind an amount: "buy new: 229"."""
    if node.tag != "a" or (node.attributes.get("href") or "#").startswith(_NOWHERE):
        return False
    found = PRICE_LIKE.search(text := squeeze(node.text(separator=" ")))
    lead = text[: found.start()] if found else ""
    named = _NAMED.search(lead) is not None and not labels.CURRENT.search(lead)
    return named and any(PRICE_LIKE.search(part) for part in before)


def _unseen(node: LexborNode) -> bool:
    attrs = node.attributes
    if (node.tag or "") in ("script", "style", "template", "svg", "select", "textarea"):
        return True
    if not attrs:
        return False
    named = attrs.get("class") or ""
    return bool(
        "hidden" in attrs
        or labels.SPOKEN_CLASS.search(named)
        or labels.HIDDEN_CLASS.search(named)
        or labels.HIDDEN_STYLE.search(attrs.get("style") or "")
    )
