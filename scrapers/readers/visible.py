"""The amounts that a visitor sees in the page's own matter, each with what it is."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Multibuy, PriceText, Tax
from scrapers.readers import labels, stock
from scrapers.readers.claims import Seen
from scrapers.readers.dom import Doc, where
from scrapers.readers.headings import heading_of
from scrapers.readers.kinds import kind_of, refined, tax_label, tax_of_seen
from scrapers.readers.leaves import (
    AMOUNT,
    CURRENCY,
    MAX_TEXT,
    MONEY,
    PRICE_LIKE,
    Leaf,
    is_card,
    is_price_like,
    leaves,
    price_text,
    squeeze,
)
from scrapers.readers.places import Places, own_class
from scrapers.texts import is_currency, read_price

MAX_PRICE_TEXT = 90
FAR = 4  # levels above the heading: what first comes there may be another thing's price
_BARE = re.compile(rf"(?:{MONEY}\s?)?\d[\d.,'’\u00a0\u202f]*(?:\s?{MONEY})?")
_TO = r"(?:[-–—~]|to|bis|à|au|tot|a|do|till|til|al|until|jusqu.à)(?![^\W\d_])"
_RANGE_AFTER = re.compile(rf"\s*{_TO}\s*(?:{MONEY}\s*)?\d", re.IGNORECASE)
_DASHED = re.compile(r"[\s€$£]\s*[-–—]\s*\Z")  # "4,95 € - " and the upper end in the next element
_RANGE_BEFORE = re.compile(rf"(?:^|\s){_TO}\s*[^\d\s]{{0,4}}\s*$", re.IGNORECASE)
_TIER_BEFORE = re.compile(
    r"(?:\b(?:ab|from|vanaf|[àa] partir de|d[èe]s|da|desde|od|fr[åa]n|fra|buy|qty|>=|"
    r"≥)\s*(\d{1,5})|"
    r"(?<![\d.,])(\d{1,5})\s*(?:\+(?!\s*[a-z])|or more|oder mehr|et plus|of meer|o m[áa]s|"
    r"o pi[ùu]))[^\d]{0,16}$",
    re.IGNORECASE,
)
# "Koop 10 voor", "Kaufen Sie 3 zum Preis von je"
_BUY_FOR = re.compile(
    r"\b(?:buy|koop|kaufen sie|achetez(?:-en)?|acquist(?:a|ando)(?:ne)?|compra|kup|k[öo]p|k[øo]b|"
    r"kj[øo]p)\s+(\d{1,5})[^\d]{1,24}$",
    re.IGNORECASE,
)
_TIER_TEXT = re.compile(
    r"(?:ab|from|vanaf|[àa] partir de|d[èe]s|da|desde|od|fr[åa]n|"
    r"fra)\s*\d{1,5}\s*(?:\s(?:st(?:[üu]cks?|k|uks?)?|pcs?|pieces?|pi[èe]ces?|pz|pezzi|uds?|szt|ks|"
    r"m|met(?:er|re)s?|m[èe]tres?|metr\w{0,3}|kg)\.?(?:\s?[:=])?\s*)?(?<=[\s:=])"
    r"(?=[^\d\s]{0,4}\s?\d+[.,]\d)",
    re.IGNORECASE,
)
_PAID = ("now", "low", "gross", "net")
_CELLS = frozenset({"td", "th", "dd", "li", "div", "span"})
_FOR_ONE = re.compile(
    r"(?<![\d.,])1\s*(?:\+|pcs?\.?|pieces?\+?|st(?:k|[üu]ck)?\.?|szt\.?)?[^\d\w]*\Z"
)
# an amount whose currency stands elsewhere: nothing but a label may lead it
_LONE = re.compile(r"(?:[^\d%]{0,24}[:\s\ufffd])?\d[\d.,'’\s\u00a0\u202f]*(?:,?[-–—])?\s*\*?\Z")
# an amount, not a percentage
_SUM = re.compile(r"\d[\d.,'’\u00a0\u202f]*(?!\d)(?![\d.,]*\s?%)")
# before an amount only the rate of a tax and a saving told twice ("20%, also 5 €") are none
_SUM_BEFORE = re.compile(
    r"\d[\d.,'’\u00a0\u202f]*(?!\d)(?![\d.,]*\s?%\s?(?:(?:mwst|ust|vat|btw|moms|mva|tva|iva|dph|alv|"
    r"tax|[áa]fa)\b|,?\s?(?:also|soit|ou|or|oder|czyli|dvs)\b))",
    re.IGNORECASE,
)
_WORDS = re.compile(r"[^\W\d_]{3}")
_BESIDE = frozenset(
    {"list", "regular", "member", "lowest30", "tier", "unit", "shipping", "saving", "used"}
)
_PLAIN_TAGS = "h2,h3,h4,h5,p,li,td,th,dd,dt,b,strong,em,i,span,div,font,big,label,center,u"


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


def view(doc: Doc, names: list[str]) -> View:
    """The page as seen. `names`: titles that other sources gave, best first."""
    heading = heading_of(doc, names)
    places = Places(heading, doc.tree.root)
    title = squeeze(heading.text(separator=" ")[:4000]) if heading is not None else None
    return View(heading, title, places)


def look(
    doc: Doc,
    found: View,
    locale: str | None,
    currency: str | None,
    expected: Sequence[Decimal] = (),
    taxed: Collection[Decimal] = (),
) -> View:
    """Fill the view with amounts; page-wide hints settle "$" and separators.

    `expected`: prices that markup states; `taxed`: the same with a country's tax added.
    Text whose classes say nothing is searched where neither markup nor a named element
    shows a price, or where the two do not meet.
    """
    held, elsewhere = leaves(doc.priced, found.places)
    reader = _Reader(found, locale, currency)
    reader.take(held)
    paid = any(s.kind in (*_PAID, "regular") and (expected or s.level <= FAR) for s in reader.seen)
    struck = any(s.kind == "list" for s in reader.seen)
    met = any(s.amount in expected and s.kind != "list" for s in reader.seen)
    regular = paid and not expected and not any(s.kind in _PAID for s in reader.seen)
    apart = _apart(reader.seen, found.places, expected) if paid and not regular else 0
    if not paid or (expected and not met) or regular or apart:
        named = list(reader.seen)
        once = bool(expected or named) or not _sold_out(doc, found.places)
        extra = _take_plain(reader, doc, found, once=once)
        if expected and not paid and not struck and not _tells_more(reader.seen, expected):
            # plain text is asked only for a list price or a tax
            reader.seen = [*named, *_with_tax(reader.seen, expected, currency, taxed)]
        nearer = bool(apart) and any(
            s.level < apart and (expected or s.kind in _PAID) for s in reader.seen
        )
        if nearer:
            reader.seen = [s for s in reader.seen if s.level < apart]
        elif apart and not expected:
            reader.seen = named
        found.plain = not paid or nearer
        elsewhere += extra
    found.seen = tuple(reader.seen)
    found.multibuy = tuple(dict.fromkeys(reader.multibuy))
    found.doubts = tuple(reader.doubts)
    found.cards, found.elsewhere, found.garbled = reader.cards, elsewhere, reader.garbled
    return found


def _apart(seen: list[Seen], places: Places, expected: Sequence[Decimal]) -> int:
    """The level of the nearest named price, if it shares no more than the body with the heading.

    0 where it is nearer or the markup's: else it is that of a banner or a dialog.
    """
    named = [s for s in seen if s.kind in _PAID]
    if any(s.amount in expected for s in named):
        return 0
    nearest = min((s.level for s in named), default=0)
    return nearest if nearest >= places.body > 1 else 0


MOST_TAX = Decimal("1.3")


def _with_tax(
    seen: list[Seen],
    expected: Sequence[Decimal],
    currency: str | None,
    taxed: Collection[Decimal],
) -> list[Seen]:
    """Amounts that say to hold the tax which the markup's price leaves out, or hold it exactly."""
    gross = [
        s
        for s in seen
        if s.list_amount is None
        and (s.kind == "gross" or (s.kind == "now" and s.level <= FAR and s.amount in taxed))
    ]
    near = [s for s in gross if any(e < s.amount <= e * MOST_TAX for e in expected)]
    return [s for s in near if s.currency in (None, currency)]


def _tells_more(seen: list[Seen], expected: Sequence[Decimal]) -> bool:
    """Whether plain text calls the markup's price net, or shows it below a list price."""
    backed = [s for s in seen if s.amount in expected]
    net = any(s.kind == "net" or s.tax is Tax.EXCLUDED for s in backed)
    return net or bool(backed and any(s.kind in ("list", "regular") for s in seen))


def _take_plain(reader: _Reader, doc: Doc, found: View, *, once: bool) -> int:
    """Plain text around the heading, further out while it shows nothing that could be paid."""
    named, cards, elsewhere = list(reader.seen), reader.cards, 0
    block = _plain_block(doc, found)
    for _ in range(1 if once else MAX_BLOCKS):
        if block is None:
            break
        reader.seen, reader.cards = list(named), cards
        more, elsewhere = leaves(block.css(_PLAIN_TAGS)[:3_000], found.places, plain=True)
        reader.take(more, plain=True)
        if any(s.kind in _PAID for s in reader.seen[len(named) :]):
            break
        block = block.parent if block.tag != "body" else None
    return elsewhere


def _sold_out(doc: Doc, places: Places) -> bool:
    """Without a button to tell which block sells, the price may stand further out."""
    return stock.read(doc, places).said is Availability.OUT_OF_STOCK


MAX_BLOCKS = 3


def _plain_block(doc: Doc, found: View) -> LexborNode | None:
    """The block around the heading that has amounts, and the order button where there is one."""
    at, best = found.heading or doc.tree.body, None
    bought = _around_button(doc, found.places)
    for _ in range(12):
        if at is None or at.tag in (None, "html", "-undef"):
            break
        text = at.text(separator=" ")
        if len(text) > 60_000:
            break
        rest = text.replace(found.title or "\0", "", 1)
        if best is None and any(
            CURRENCY.search(rest[max(0, m.start() - 8) : m.end() + 6])
            for m in AMOUNT.finditer(rest)
        ):
            best = at
        if best is not None and (not bought or at.mem_id in bought):
            best = at
            break
        at = at.parent
    return best


def _around_button(doc: Doc, places: Places) -> set[int]:
    """The elements around the order button nearest the heading: price and button go together."""
    buttons = stock.orderers(doc, places)
    if not buttons:
        return set()
    at: LexborNode | None = min(buttons, key=lambda n: places.of(n).level)
    around: set[int] = set()
    while at is not None and len(around) < MAX_ABOVE:
        around.add(at.mem_id)
        at = at.parent
    return around


MAX_ABOVE = 200


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
        self._plain = False
        self._card: dict[int, bool] = {}
        self.title = found.title
        self._open = -1
        self._row = -1

    def take(self, held: list[Leaf], *, plain: bool = False) -> None:
        self._plain = plain
        for order, leaf in enumerate(held):
            if leaf.place.zone == "hidden":
                continue
            if self._in_card(leaf.node) or (plain and _of_link(leaf.node)):
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
        if not is_price_like(text) and (not _LONE.match(text) or _counts(leaf, after)):
            return
        kind, strong = self._kind(leaf, text, before, after)
        if kind in _BESIDE and before.strip() and not row:
            before, after = self._around(leaf, shown=True)  # a hidden "was" says nothing of it
            kind, strong = self._kind(leaf, text, before, after)
        words, cut = _labelled_by(leaf, before)
        told = self._told(leaf, text, words, kind)
        if told is None:
            return
        long = len(text) > MAX_PRICE_TEXT or (self._plain and _is_sentence(text))
        if long and not strong and kind in ("now", "regular", "net", "gross"):
            kind = "other"  # a sentence with an amount in it
        least = (_TIER_BEFORE.search(before) or _BUY_FOR.search(before)) if cut else None
        if least and told.amount:
            kind = "tier"
            self._tier(int(least[1] or least[least.re.groups]), told.amount)
        said_so = strong or kind != "now" or not _in_sentence(leaf.node)
        kind = self._of_row(leaf, before, kind) if said_so else "other"
        end = _end_of_range(leaf.node)
        if end == "minPrice" or _RANGE_AFTER.match(after) or _DASHED.search(text):
            self._open = leaf.place.branch
        elif self._open == leaf.place.branch and (end == "maxPrice" or _RANGE_BEFORE.search(words)):
            self._close(told)
            return
        self._keep(
            leaf, order, text, tax_label(text, words, after, cut=cut), kind, told, strong=strong
        )

    def _kind(self, leaf: Leaf, text: str, before: str, after: str) -> tuple[str, bool]:
        words, cut = _labelled_by(leaf, before)
        close = partial(self._close_words, leaf)
        return kind_of(leaf, text, words, after, cut=cut, close=close)

    def _of_row(self, leaf: Leaf, before: str, kind: str) -> str:
        """In a row of quantity prices: that of one piece is the price, what follows a sum."""
        row = leaf.node.parent.mem_id if leaf.node.parent is not None else 0
        if kind == "tier":
            if leaf.node.tag in _CELLS and _FOR_ONE.search(before):
                return "now"
            self._row = row
        elif row == self._row and leaf.node.tag in _CELLS and kind in ("now", "gross", "net"):
            return "other"
        return kind

    def _told(self, leaf: Leaf, text: str, words: str, kind: str) -> PriceText | None:
        """What the text says; None without an amount, whose doubt is then kept."""
        told = read_price(_for_reading(text, words), locale=self.locale, currency=self.currency)
        if kind in _BESIDE and (told is None or told.amount is None):
            known = told.list_amount if told else None
            told = replace(told, amount=known) if told and known else self._bare(text)
        if told is None:
            return None
        if told.amount is None and told.list_amount is not None and labels.MEMBER.search(text):
            told = replace(
                told, amount=told.list_amount, list_amount=None, doubt=None
            )  # everyone's
        if told.amount is not None and told.list_amount is None:
            told = replace(told, list_amount=self._struck_in(leaf, told.amount))
        self.multibuy += told.multibuy
        if told.amount is None and told.doubt and kind == "now" and CURRENCY.search(text):
            self.doubts.append(f"{text[:60]}: {told.doubt}")
        return told if told.amount is not None else None

    def _struck_in(self, leaf: Leaf, amount: Decimal) -> Decimal | None:
        """A higher amount without a sign of its own, struck within the element."""
        if leaf.own or len(AMOUNT.findall(leaf.raw)) < 2:
            return None
        inner = leaf.node.css_first("del, s, strike")
        told = self._bare(squeeze(inner.text())) if inner is not None else None
        listed = told.amount if told is not None else None
        return listed if listed is not None and amount < listed < amount * 8 else None

    def _tier(self, least: int, amount: Decimal) -> None:
        if least > 1:
            self.multibuy.append(Multibuy(least, amount, "each"))

    def _bare(self, text: str) -> PriceText | None:
        """The amount alone, where its label makes it no price ("Old price: 9.00")."""
        found = [m[0] for m in _BARE.finditer(text)]
        amounts = [f for f in found if PRICE_LIKE.search(f)] or found
        if len(amounts) != 1:
            return None
        code = amounts[0][:3]
        alone = amounts[0] if is_currency(code) or not code.isalpha() else amounts[0][3:]
        return read_price(alone, locale=self.locale, currency=self.currency)

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
        kind = refined(kind, told)
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
                tax=tax_of_seen(told, kind, label, own_class(leaf.node)),
                low=told.low,
                high=told.high,
                per=told.per,
                list_amount=told.list_amount,
                strong=strong,
                named=not self._plain,
                group=leaf.place.branch,
                parent=leaf.node.parent.mem_id if leaf.node.parent is not None else 0,
                node=leaf.node,
            )
        )

    def _around(self, leaf: Leaf, *, shown: bool = False) -> tuple[str, str]:
        """The words before and after the leaf in its nearest small block.

        `shown`: without those that are hidden.
        """
        at, context, climbed = leaf.node.parent, "", 0
        while at is not None and climbed < 3:
            text = at.text(separator=" ")
            if len(text) > 600 or len(text := squeeze(text)) > MAX_TEXT:
                break
            if shown:
                text = squeeze(self._shown(at))
            if context and text.count(leaf.raw) > 1:
                break  # the same amount twice: which one's words these are cannot be told
            context = text
            if at.mem_id in self.places.above:
                break
            at, climbed = at.parent, climbed + 1
        start, end = _find(context, leaf)
        before, after = context[:start], context[end:]
        if self.title and self.title in before:
            before = before.rpartition(self.title)[2]  # words of the name are no label
        following = _SUM.search(after)
        if following and following.start() > 4 and not _RANGE_AFTER.match(after):
            after = after[: following.start()]
        return before[-80:], after[:45]

    def _shown(self, node: LexborNode) -> str:
        parts: list[str] = []
        for child in node.iter(include_text=True):
            if child.is_text_node:
                parts.append(child.text())
            elif self.places.of(child).zone != "hidden":
                parts.append(self._shown(child))
        return " ".join(parts)

    def _close_words(self, leaf: Leaf) -> str:
        """The words before the leaf in the smallest element that has any beside it."""
        at = leaf.node.parent
        for _ in range(3):
            if at is None or len(text := at.text(separator=" ")) > 600:
                return ""
            text = squeeze(text)
            start, end = _find(text, leaf)
            if _WORDS.search(text[:start] + text[end:]):
                return text[:start][-60:]
            at = at.parent
        return ""

    def _in_card(self, node: LexborNode) -> bool:
        """Inside one of several like boxes, each with a picture, a link and an amount."""
        at, climbed = node.parent, 0
        while at is not None and at.mem_id not in self.places.above and climbed < 8:
            key = at.mem_id
            if key not in self._card:
                self._card[key] = is_card(at)
            if self._card[key]:
                return True
            at, climbed = at.parent, climbed + 1
        return False


def _of_link(node: LexborNode) -> bool:
    """An amount behind a link in the same line: what another page sells."""
    link = node.css_first("a[href]")
    if link is None:
        return False
    href = (link.attributes.get("href") or "").strip().lower()
    name = squeeze(link.text())
    if href.startswith(("#", "javascript:", "mailto:", "tel:")) or not _WORDS_OF.search(name):
        return False
    said = labels.GROSS.search(name) or labels.NET.search(name) or labels.SHIPPING.search(name)
    before, _, after = squeeze(node.text(separator=" ")).partition(name)
    return not said and not AMOUNT.search(before) and AMOUNT.search(after) is not None


def _labelled_by(leaf: Leaf, before: str) -> tuple[str, bool]:
    """The words that may label the leaf, and whether another amount stands before them."""
    words, cut = _cut(before)
    named = _printed_label(leaf.node)
    return (f"{words} {named}", False) if named else (words, cut)


def _printed_label(node: LexborNode) -> str:
    """The label that a style sheet prints before the amount."""
    for one in (node, node.parent):
        label = one.attributes.get("data-label") if one is not None else None
        if label:
            return label.strip()[:40]
    return ""


def _in_sentence(node: LexborNode) -> bool:
    """An amount in the midst of a paragraph's words, as an article tells what things cost."""
    block = node.parent
    if node.tag not in _INLINE or block is None or block.tag != "p":
        return False
    before, _, after = squeeze(block.text(separator=" ")).partition(squeeze(node.text()))
    ahead = len(_WORDS_OF.findall(_cut(before)[0]))
    return ahead >= FEW_WORDS and len(_WORDS_OF.findall(after[:60])) >= FEW_WORDS


FEW_WORDS = 3
_INLINE = frozenset({"b", "strong", "em", "i", "span", "a", "u"})
_WORDS_OF = re.compile(r"[^\W\d_]{2,}")


_STOP = re.compile(r"(?:[^\W\d_]|\d)[.!?]\s*\Z")
_NEXT = re.compile(r"[.!?]\s+[A-ZÀ-Ž]\w+.*\d")


def _is_sentence(text: str) -> bool:
    """Whether an amount stands in running text: words and a full stop, or a second sentence."""
    return len(_WORDS_OF.findall(text)) > 3 and bool(_STOP.search(text) or _NEXT.search(text))


def _end_of_range(node: LexborNode) -> str | None:
    """The end of a range that the element or its wrapper is marked as."""
    for one in (node, node.parent):
        kind = one.attributes.get("data-price-type") if one is not None else None
        if kind:
            return kind
    return None


def _cut(before: str) -> tuple[str, bool]:
    """The words since the last amount, and whether there was one."""
    ends = [m.end() for m in _SUM_BEFORE.finditer(before)]
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


def _for_reading(text: str, before: str) -> str:
    """A "from" that stands outside the element belongs to its amount."""
    found = labels.FROM.search(before)
    return f"{found[0].strip()} {text}" if found else text
