"""The amounts that a visitor sees in the page's own matter, each with what it is."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.model import Multibuy, PriceText, Tax
from scrapers.readers import labels
from scrapers.readers.claims import Seen
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Place, Places, own_class
from scrapers.texts import read_price

MAX_TEXT = 160
MAX_LEAVES = 120
MAX_PRICE_TEXT = 90
_DIGIT = re.compile(r"\d")
CURRENCY = re.compile(
    r"[€$£¥₹₽₺₩฿₪₫₴₱₦₿]|\b(?:[A-Z]{3}|Kč|zł|kr|Ft|lei|лв|руб|Fr|Rs|R)(?=\b|\.|\s|\d)|(?<=\d)(?:kr|zł|Kč|Ft|лв)\b|,-"
)
_MONEY = r"(?:[€$£¥₹₽₺₩₪₫₴฿]|[A-Z]{3}\b|Kč|zł|kr\b|Ft\b|lei\b)"
_PRICE_LIKE = re.compile(rf"{_MONEY}\s?\d|\d(?:,[-–—]+)?\s?{_MONEY}|\d,[-–—]")
_BARE = re.compile(rf"(?:{_MONEY}\s?)?\d[\d.,'’\u00a0\u202f]*(?:\s?{_MONEY})?")
_AMOUNT = re.compile(r"\d[\d.,'’\u00a0\u202f]*")
_TO = r"(?:[-–—~]|to|bis|à|au|tot|a|do|till|til|al|until|jusqu.à)(?![^\W\d_])"
_RANGE_AFTER = re.compile(rf"\s*{_TO}\s*(?:{_MONEY}\s*)?\d", re.IGNORECASE)
_RANGE_BEFORE = re.compile(rf"(?:^|\s){_TO}\s*[^\d\s]{{0,4}}\s*$", re.IGNORECASE)
_TIER_BEFORE = re.compile(
    r"(?:\b(?:ab|from|vanaf|[àa] partir de|d[èe]s|da|desde|od|fr[åa]n|fra|buy|qty|>=|≥)\s*(\d{1,5})|"
    r"(?<![\d.,])(\d{1,5})\s*(?:\+(?!\s*[a-z])|or more|oder mehr|et plus|of meer|o m[áa]s|o pi[ùu]))[^\d]{0,16}$",
    re.IGNORECASE,
)
_TIER_TEXT = re.compile(
    r"(?:ab|from|vanaf|[àa] partir de|d[èe]s|da|desde|od|fr[åa]n|fra)\s*\d{1,5}\s+(?=[^\d\s]{0,4}\s?\d+[.,]\d)",
    re.IGNORECASE,
)
# an amount whose currency stands elsewhere: nothing but a label may lead it
_LONE = re.compile(r"(?:[^\d%]{0,24}[:\s\ufffd])?\d[\d.,'’\s\u00a0\u202f]*(?:,?[-–—])?\s*\*?\Z")
_BESIDE = frozenset({"list", "member", "lowest30", "tier", "unit", "shipping", "saving", "used"})
_FRAGMENT = re.compile(r"[\d.,'’\s\u00a0\u202f]{1,15}(?:,?[-–—])?\Z")
_MARKED_UP = frozenset({"lowPrice", "highPrice", "price"})
_PLAIN_TAGS = "h2,h3,h4,h5,p,li,td,th,dd,dt,b,strong,em,i,span,div,font,big,label,center,u"


class Leaf(NamedTuple):
    """An element that holds a price text, with its place."""

    node: LexborNode
    place: Place
    raw: str
    own: bool = False  # only the text directly in the element; its children are leaves too


@dataclass(slots=True)
class View:
    """What the page shows: its heading and the amounts around it."""

    heading: LexborNode | None
    title: str | None
    places: Places
    seen: tuple[Seen, ...] = ()
    multibuy: tuple[Multibuy, ...] = ()
    doubts: tuple[str, ...] = ()
    cards: int = 0
    elsewhere: int = 0
    garbled: bool = False
    plain: bool = False


def squeeze(text: str) -> str:
    """White space to single blanks."""
    return " ".join(text.split())


def view(doc: Doc, names: list[str]) -> View:
    """The page as seen. `names`: titles that other sources gave, best first."""
    heading = _heading(doc, names)
    places = Places(heading, doc.tree.root)
    title = squeeze(heading.text(separator=" ")[:4000]) if heading is not None else None
    return View(heading, title, places)


def look(
    doc: Doc, found: View, locale: str | None, currency: str | None, *, plain: bool = True
) -> View:
    """Fill the view with amounts; page-wide hints settle "$" and separators.

    `plain`: whether to search text whose classes say nothing, where no other shows a price.
    """
    leaves, elsewhere = _leaves(doc.priced, found.places)
    reader = _Reader(found, locale, currency)
    reader.take(leaves)
    struck = any(s.kind == "list" for s in reader.seen)
    if (plain or struck) and not any(s.kind in ("now", "low", "gross", "net") for s in reader.seen):
        more, extra = _leaves(_plain_nodes(doc, found), found.places, plain=True)
        reader.take(more)
        found.plain = True
        elsewhere += extra
    found.seen = tuple(reader.seen)
    found.multibuy = tuple(dict.fromkeys(reader.multibuy))
    found.doubts = tuple(reader.doubts)
    found.cards, found.elsewhere, found.garbled = reader.cards, elsewhere, reader.garbled
    return found


def _heading(doc: Doc, names: list[str]) -> LexborNode | None:
    """The h1 that names the product; among several the one that other titles repeat."""
    heads = [h for h in doc.headings[:30] if h.text().strip()]
    if len(heads) == 1:
        return heads[0]
    known = [n.casefold() for n in (*names, *doc.titles) if n]
    for name in known:
        for head in heads:
            text = squeeze(head.text()).casefold()
            if text and (text in name or name in text):
                return head
    if heads:
        return heads[0]
    return _unmarked_heading(doc, known)


def _unmarked_heading(doc: Doc, known: list[str]) -> LexborNode | None:
    """A page without h1: the element that repeats a known title."""
    if not known or doc.tree.body is None:
        return None
    for node in doc.tree.body.css(
        'h2, h3, [itemprop="name"], [class*="title" i], [class*="name" i]'
    )[:300]:
        text = squeeze(node.text()[:400]).casefold()
        if len(text) > 3 and any(text == n or (len(text) > 8 and text in n) for n in known):
            return node
    return None


def _leaves(
    nodes: list[LexborNode], places: Places, *, plain: bool = False
) -> tuple[list[Leaf], int]:
    """Innermost elements with a price text; fragments of one price give way to their parent."""
    kept: list[Leaf] = []
    inside: dict[int, list[int]] = {}
    elsewhere = 0
    for node in reversed(nodes):
        raw = node.text()
        if len(raw) > 2_000 or not _DIGIT.search(raw):
            continue
        text = squeeze(raw)
        place = places.of(node)
        if place.zone == "other":
            elsewhere += 1
            continue
        if plain and _MARKED_UP & {
            node.attributes.get("itemprop"),
            node.attributes.get("property"),
        }:
            text = ""  # microdata has read it, and what lies around it is its label
        held = inside.get(node.mem_id)
        own = len(text) > MAX_TEXT or node.mem_id in places.above
        own = own or (held is not None and not _fragments(kept, held, text))
        if own:
            text = squeeze(node.text(deep=False))
        elif held:
            for n in held:
                kept[n] = kept[n]._replace(raw="")
        if (own or plain) and text and not _PRICE_LIKE.search(text):
            continue
        if len(text) <= MAX_TEXT:
            _cover(inside, node, len(kept), places)
            kept.append(Leaf(node, place, text, own))
        if len(kept) > MAX_LEAVES * 4:
            break
    return [leaf for leaf in reversed(kept) if leaf.raw][:MAX_LEAVES], elsewhere


def _fragments(kept: list[Leaf], held: list[int], text: str) -> bool:
    """Whether the inner texts are pieces ("12", "95") of the one price in `text`."""
    inner = [kept[n] for n in held if kept[n].raw]
    if len(text) > 40 or not inner:
        return False
    if any(leaf.place.zone in ("hidden",) for leaf in inner):
        return False
    bare = all(_FRAGMENT.match(leaf.raw) for leaf in inner)
    return (
        bare and bool(CURRENCY.search(text) or len(inner) > 1) and len(_AMOUNT.findall(text)) <= 2
    )


def _cover(inside: dict[int, list[int]], node: LexborNode, number: int, places: Places) -> None:
    at, climbed = node.parent, 0
    while at is not None and at.mem_id not in places.above and climbed < 12:
        inside.setdefault(at.mem_id, []).append(number)
        at, climbed = at.parent, climbed + 1


def _plain_nodes(doc: Doc, found: View) -> list[LexborNode]:
    """Elements of the block around the heading, for pages whose classes say nothing."""
    at = found.heading or doc.tree.body
    for _ in range(12):
        if at is None or at.tag in (None, "html", "-undef"):
            break
        text = at.text(separator=" ")
        if len(text) > 60_000:
            break
        rest = text.replace(found.title or "\0", "", 1)
        if any(
            CURRENCY.search(rest[max(0, m.start() - 8) : m.end() + 6])
            for m in _AMOUNT.finditer(rest)
        ):
            return at.css(_PLAIN_TAGS)[:3_000]
        at = at.parent
    return []


class _Reader:
    """Reads leaves into `Seen`, keeping what cannot be read as doubts."""

    def __init__(self, found: View, locale: str | None, currency: str | None) -> None:
        self.places = found.places
        self.locale = locale
        self.currency = currency
        self.seen: list[Seen] = []
        self.multibuy: list[Multibuy] = []
        self.doubts: list[str] = []
        self.cards = 0
        self.garbled = False
        self._card: dict[int, bool] = {}
        self._open = -1

    def take(self, leaves: list[Leaf]) -> None:
        for order, leaf in enumerate(leaves):
            if leaf.place.zone == "hidden":
                continue
            if self._in_card(leaf.node):
                self.cards += 1
                continue
            self._one(leaf, order)
        self._drop_spoken()

    def _drop_spoken(self) -> None:
        """Text for screen readers counts only where no other text shows an amount."""
        if any(not s.where.startswith("(spoken)") for s in self.seen):
            self.seen = [s for s in self.seen if not s.where.startswith("(spoken)")]

    def _one(self, leaf: Leaf, order: int) -> None:
        text = leaf.raw if leaf.own else price_text(leaf.node) or leaf.raw
        if "\ufffd" in leaf.raw:
            self.garbled = True
        before, after = self._around(leaf)
        if row := _TIER_TEXT.match(text):  # a whole row: "Ab 10 7,90 €"
            before, text = row[0], text[row.end() :]
        if not _PRICE_LIKE.search(text) and (not _LONE.match(text) or _counts(leaf, after)):
            return
        words, cut = _cut(before)
        kind, strong = kind_of(leaf, text, words, after)
        told = read_price(_for_reading(text, words), locale=self.locale, currency=self.currency)
        if kind in _BESIDE and (told is None or told.amount is None):
            told = self._bare(text)
        if len(text) > MAX_PRICE_TEXT and not strong and kind in ("now", "regular", "net", "gross"):
            kind = "other"  # a sentence with an amount in it
        if told is None:
            return
        self.multibuy += told.multibuy
        if told.amount is None:
            if told.doubt and kind == "now":
                self.doubts.append(f"{text[:60]}: {told.doubt}")
            return
        if cut and (least := _TIER_BEFORE.search(before)) and told.amount > 0:
            kind = "tier"
            if int(least[1] or least[2]) > 1:
                self.multibuy.append(Multibuy(int(least[1] or least[2]), told.amount, "each"))
        if _RANGE_AFTER.match(after):
            self._open = leaf.place.branch
        elif self._open == leaf.place.branch and _RANGE_BEFORE.search(words):
            self._close(told)
            return
        self._keep(leaf, order, text, _tax_label(text, words, after), kind, told, strong=strong)

    def _bare(self, text: str) -> PriceText | None:
        """The amount alone, where its label makes it no price ("Old price: 9.00")."""
        found = [m[0] for m in _BARE.finditer(text)]
        amounts = [f for f in found if _PRICE_LIKE.search(f)] or found
        if len(amounts) != 1:
            return None
        return read_price(amounts[0], locale=self.locale, currency=self.currency)

    def _close(self, told: PriceText) -> None:
        """The upper end of a range whose ends stand in two elements."""
        self._open = -1
        lower = self.seen[-1] if self.seen else None
        if lower is not None and told.amount is not None and told.amount > lower.amount:
            self.seen[-1] = replace(lower, low=lower.amount, high=told.amount, kind="low")

    def _keep(
        self,
        leaf: Leaf,
        order: int,
        text: str,
        label: str | None,
        kind: str,
        told: PriceText,
        *,
        strong: bool,
    ) -> None:
        if told.amount is None or told.amount <= 0:
            return
        kind = _refined(kind, told)
        spoken = "(spoken) " if leaf.place.zone == "spoken" else ""
        self.seen.append(
            Seen(
                amount=told.amount,
                currency=told.currency,
                kind=kind,
                text=text,
                where=spoken + where(leaf.node),
                level=leaf.place.level,
                order=order,
                tax=_tax(told, kind, label, own_class(leaf.node)),
                low=told.low,
                high=told.high,
                per=told.per,
                list_amount=told.list_amount,
                strong=strong,
                group=leaf.place.branch,
            )
        )

    def _around(self, leaf: Leaf) -> tuple[str, str]:
        """The words before and after the leaf in its nearest small block."""
        at, context, climbed = leaf.node.parent, "", 0
        while at is not None and climbed < 3:
            text = at.text(separator=" ")
            if len(text) > 600 or len(text := squeeze(text)) > MAX_TEXT:
                break
            if context and text.count(leaf.raw) > 1:
                break  # the same amount twice: which one's words these are cannot be told
            context = text
            if at.mem_id in self.places.above:
                break
            at, climbed = at.parent, climbed + 1
        start, end = _find(context, leaf)
        before, after = context[:start], context[end:]
        following = _AMOUNT.search(after)
        if following and following.start() > 4 and not _RANGE_AFTER.match(after):
            after = after[: following.start()]
        return before[-80:], after[:45]

    def _in_card(self, node: LexborNode) -> bool:
        """Inside one of several like boxes, each with a picture, a link and an amount."""
        at, climbed = node.parent, 0
        while at is not None and at.mem_id not in self.places.above and climbed < 8:
            key = at.mem_id
            if key not in self._card:
                self._card[key] = _is_card(at)
            if self._card[key]:
                return True
            at, climbed = at.parent, climbed + 1
        return False


def _cut(before: str) -> tuple[str, bool]:
    """The words since the last amount, and whether there was one."""
    ends = [m.end() for m in _AMOUNT.finditer(before)]
    return before[ends[-1] if ends else 0 :][-60:], bool(ends)


def _counts(leaf: Leaf, after: str) -> bool:
    """A bare number that counts something: pieces, stars, stock."""
    return bool(labels.C_COUNT.search(own_class(leaf.node)) or after.lstrip().startswith("%"))


def _find(context: str, leaf: Leaf) -> tuple[int, int]:
    for text in (squeeze(leaf.node.text(separator=" ")), leaf.raw):
        start = context.find(text)
        if start >= 0:
            return start, start + len(text)
    return len(context), len(context)


def _is_card(node: LexborNode) -> bool:
    if not (node.css_first("a[href]") and node.css_first("img")):
        return False
    mark = (node.tag, node.attributes.get("class"))
    for forward in (True, False):
        near = _element(node, forward=forward)
        if near is not None and (near.tag, near.attributes.get("class")) == mark:
            if _DIGIT.search(near.text()) and near.css_first("a[href]") and near.css_first("img"):
                return True
    return False


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
    made = ""
    for part in parts:
        made += _glue(made, part) + part
    return squeeze(made)


_CENTS = re.compile(r"\d{2}(?:\D|\Z)")


def _glue(before: str, part: str) -> str:
    if not before or not part:
        return ""
    if _CENTS.match(part) and before[-1].isdigit() and not re.search(r"[.,]\d+\Z", before):
        return "." if len(part.strip()) <= 4 else " "
    if before[-1] in ".," or part[0] in ".,":
        return ""
    return " "


def _parts(node: LexborNode, parts: list[str], depth: int) -> None:
    child = node.child
    while child is not None and depth < 12 and len(parts) < 60:
        if child.is_text_node:
            text = (child.text_content or "").strip()
            if text:
                parts.append(text)
        elif child.is_element_node and not _unseen(child):
            _parts(child, parts, depth + 1)
        child = child.next


def _unseen(node: LexborNode) -> bool:
    attrs = node.attributes
    if (node.tag or "") in ("script", "style", "template", "svg"):
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


def _for_reading(text: str, before: str) -> str:
    """A "from" that stands outside the element belongs to its amount."""
    found = labels.FROM.search(before)
    return f"{found[0].strip()} {text}" if found else text


def _refined(kind: str, told: PriceText) -> str:
    if kind == "now" and told.low is not None:
        return "low"
    if kind in ("now", "net", "gross") and told.per and not labels.PIECE.search(told.per):
        return "unit"
    if kind in ("now", "net", "gross") and told.tax is Tax.EXCLUDED:
        return "net"
    return kind


def _tax(told: PriceText, kind: str, label: str | None, named: str) -> Tax:
    if told.tax is not Tax.UNKNOWN:
        return told.tax
    if "net" in (kind, label):
        return Tax.EXCLUDED
    gross = "gross" in (kind, label) or labels.C_GROSS.search(named)
    return Tax.INCLUDED if gross else Tax.UNKNOWN


_BY_CLASS = (
    ("lowest30", labels.C_LOWEST), ("shipping", labels.C_SHIPPING), ("instalment", labels.C_INSTALMENT),
    ("tier", labels.C_TIER), ("unit", labels.C_UNIT), ("member", labels.C_MEMBER),
    ("eco", labels.C_ECO), ("net", labels.C_NET), ("list", labels.C_LIST), ("other", labels.C_OTHER),
)  # fmt: skip
_BY_LABEL = (
    ("lowest30", labels.LOWEST30), ("points", labels.POINTS), ("tier", labels.TIER),
    ("instalment", labels.INSTALMENT), ("shipping", labels.SHIPPING), ("eco", labels.ECO),
    ("used", labels.USED), ("member", labels.MEMBER), ("saving", labels.SAVING),
)  # fmt: skip


def kind_of(leaf: Leaf, text: str, before: str, after: str) -> tuple[str, bool]:
    """What the amount is, and whether class or label call it the current price outright."""
    if leaf.place.struck:
        return "list", False
    if labels.OPTION.search(text) or labels.MINIMUM.search(before):
        return "option", False
    named = own_class(leaf.node)
    strong = bool(labels.C_NOW.search(named) or labels.CURRENT.search(before))
    by_label = _by_label(text, before, after)
    if by_label:
        return by_label, False
    by_class = _by_class(leaf, named)
    if by_class and not (strong and by_class in ("member", "shipping", "other", "instalment")):
        return by_class, False
    return _tax_label(text, before, after) or "now", strong


def _by_class(leaf: Leaf, named: str) -> str | None:
    at: LexborNode | None = leaf.node
    for _ in range(3):
        if at is None:
            break
        if len(at.text()) > len(leaf.raw) + 60:
            break
        own = own_class(at)
        kind = _class_kind(own, own_one=at is leaf.node) if own else None
        if kind is not None:
            return kind
        at = at.parent
    return None


@lru_cache(maxsize=8192)
def _class_kind(named: str, *, own_one: bool) -> str | None:
    for kind, pattern in _BY_CLASS:
        if pattern.search(named):
            return kind
    saved = labels.C_SAVING if own_one else labels.C_SAVED
    if saved.search(named) and not labels.C_NOW.search(named):
        return "saving"
    return "regular" if labels.C_REGULAR.search(named) else None


def _by_label(text: str, before: str, after: str) -> str | None:
    words = f"{before} {text}"
    amounts = len(_AMOUNT.findall(text))
    if amounts <= 1:
        for kind, pattern in _BY_LABEL:
            if pattern.search(words):
                return kind
        if labels.LIST.search(words) and not labels.CURRENT.search(before):
            return "list"
        if labels.REGULAR.search(words) and not labels.CURRENT.search(before):
            return "regular"
    if re.match(
        r"\s*(?:off|saved|discount|rabatt|korting|de remise|sconto)\b", after, re.IGNORECASE
    ):
        return "saving"
    if re.match(
        r"\s*(?:/|per|pro|je)\s*(?:mo|month|monat|mois|mes|mese|maand)", after, re.IGNORECASE
    ):
        return "instalment"
    return None


def _tax_label(text: str, before: str, after: str) -> str | None:
    net, gross = labels.NET.search(text), labels.GROSS.search(text)
    if net and gross:
        return None
    if net or (not gross and labels.NET.search(before) and not labels.NET.search(after)):
        return "net"
    if gross or labels.GROSS.search(before):
        return "gross"
    for kind, pattern in (("net", labels.NET), ("gross", labels.GROSS)):
        found = pattern.match(after.lstrip(" (*"))
        if found and not after.lstrip(" (*")[found.end() :].lstrip().startswith(":"):
            return kind
    return None
