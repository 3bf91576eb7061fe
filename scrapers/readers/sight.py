"""Elements with an amount read one by one, each with what it is; doubts are kept."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from functools import partial

from selectolax.lexbor import LexborNode

from scrapers.model import Multibuy, PriceText
from scrapers.readers import labels
from scrapers.readers.cards import is_card, is_entry, is_headed_aside, is_linked_alone
from scrapers.readers.claims import Seen
from scrapers.readers.context import (
    BUY_FOR,
    FOR_ONE,
    TIER_BEFORE,
    TIER_TEXT,
    counts,
    end_of_range,
    find,
    for_reading,
    in_basket,
    in_sentence,
    is_sentence,
    labelled_by,
    lines_of,
    of_link,
    own_after,
)
from scrapers.readers.dom import where
from scrapers.readers.kinds import kind_of, refined, tax_label, tax_of_seen
from scrapers.readers.leaves import MAX_TEXT, Leaf, own_text
from scrapers.readers.places import Places, own_class
from scrapers.readers.pricelike import AMOUNT, CURRENCY, MONEY, PRICE_LIKE, is_price_like, squeeze
from scrapers.readers.split import price_text
from scrapers.texts import is_currency, read_price

MAX_PRICE_TEXT = 90
MAX_LABEL = 30
_BARE = re.compile(rf"(?:{MONEY}\s?)?\d[\d.,'’\u00a0\u202f]*(?:\s?{MONEY})?")
_TO = r"(?:[-–—~]|to|bis|à|au|tot|a|do|till|til|al|until|jusqu.à)(?![^\W\d_])"
_RANGE_AFTER = re.compile(rf"\s*{_TO}\s*(?:{MONEY}\s*)?\d", re.IGNORECASE)
_DASHED = re.compile(r"[\s€$£]\s*[-–—]\s*\Z")  # "4,95 € - " and the upper end in the next element
_RANGE_BEFORE = re.compile(rf"(?:^|\s){_TO}\s*[^\d\s]{{0,4}}\s*$", re.IGNORECASE)
_CELLS = frozenset({"td", "th", "dd", "li", "div", "span"})
# an amount whose currency stands elsewhere: nothing but a label may lead it
_LONE = re.compile(r"(?:[^\d%]{0,24}[:\s\ufffd])?\d[\d.,'’\s\u00a0\u202f]*(?:,?[-–—])?\s*\*?\Z")
# an amount, not a percentage
_SUM = re.compile(r"\d[\d.,'’\u00a0\u202f]*(?!\d)(?![\d.,]*\s?%)")
_WORDS = re.compile(r"[^\W\d_]{3}")
_BESIDE = frozenset(
    {"list", "regular", "member", "lowest30", "tier", "unit", "shipping", "saving", "used"}
)


class Reader:
    """Reads leaves into `Seen`, keeping what cannot be read as doubts."""

    def __init__(
        self, places: Places, title: str | None, locale: str | None, currency: str | None
    ) -> None:
        self.places = places
        self.locale = locale
        self.currency = currency
        self.seen: list[Seen] = []
        self.multibuy: list[Multibuy] = []
        self.doubts: list[str] = []
        self.cards = 0
        self.alone: list[Leaf] = []  # amounts in a box with a link and nothing else
        self.asides: list[Leaf] = []  # amounts in a box whose heading speaks of other things
        self.garbled = False
        self._plain = False
        self._card: dict[int, bool] = {}
        self._headed: dict[int, bool] = {}  # begins with words for other things
        self.title = title
        self._open = -1
        self._row = -1

    def take(self, held: list[Leaf], *, plain: bool = False) -> None:
        if plain is not self._plain:
            self._plain, self._card = plain, {}
        for order, leaf in enumerate(held):
            if leaf.place.zone == "hidden":
                continue
            if plain and self._above_all(leaf):
                continue
            if self._in_card(leaf.node) or (plain and of_link(leaf.node)):
                self.cards += 1
                continue
            if self._aside(leaf.node):
                self.asides.append(leaf)
                continue
            if not plain and not leaf.own and is_linked_alone(leaf.node, self.places):
                self.alone.append(leaf)
                continue
            for line in lines_of(leaf):
                self._one(line, order)
        self._drop_spoken()

    def _above_all(self, leaf: Leaf) -> bool:
        """Before the heading and sharing no more than the body with it: the basket, a banner."""
        if leaf.place.level < self.places.body or not self.places.ahead(leaf.node):
            return False
        return self.places.body > 1 or in_basket(leaf.node)

    def take_alone(self) -> None:
        """Read what was passed over: where nothing else shows a price."""
        for order, leaf in enumerate((*self.alone, *self.asides)):
            for line in lines_of(leaf):
                self._one(line, order)

    def _drop_spoken(self) -> None:
        """Text for screen readers counts only where no other text shows an amount."""
        if any(not s.where.startswith("(spoken)") for s in self.seen):
            self.seen = [s for s in self.seen if not s.where.startswith("(spoken)")]

    def _one(self, leaf: Leaf, order: int) -> None:
        text = own_text(leaf) if leaf.own else price_text(leaf.node) or leaf.raw
        if "\ufffd" in leaf.raw:
            self.garbled = True
        before, after = self._around(leaf)
        if row := TIER_TEXT.match(text):  # a whole row: "Ab 10 7,90 €"
            before, text = row[0], text[row.end() :]
        text = _measured(_signed(text, before, after), after)
        if not is_price_like(text) and (not _LONE.match(text) or counts(leaf, after)):
            return
        words, cut, own = self._labels(leaf, before, after)
        kind, strong = self._kind(leaf, text, words, own, cut=cut)
        if kind in _BESIDE and before.strip() and not row:
            before, after = self._around(leaf, shown=True)  # a hidden "was" says nothing of it
            words, cut, own = self._labels(leaf, before, after)
            kind, strong = self._kind(leaf, text, words, own, cut=cut)
        told = self._told(leaf, text, words, kind)
        if told is None:
            return
        long = len(text) > MAX_PRICE_TEXT or (self._plain and is_sentence(text))
        if long and not strong and kind in ("now", "regular", "net", "gross"):
            kind = "other"  # a sentence with an amount in it
        least = _least(before) if cut else None
        if least and told.amount:
            kind = "tier"
            self._tier(least, told.amount)
        said_so = strong or kind != "now" or not in_sentence(leaf.node)
        kind = self._of_row(leaf, before, kind) if said_so else "other"
        end = end_of_range(leaf.node)
        lower = told.low is not None and told.high is None  # "from"
        if end == "minPrice" or lower or _RANGE_AFTER.match(after) or _DASHED.search(text):
            self._open = leaf.place.branch
        elif self._open == leaf.place.branch and (
            end == "maxPrice" or _RANGE_BEFORE.search(before)
        ):
            self._close(told)
            return
        self._keep(
            leaf,
            order,
            text,
            tax_label(text, words, own, cut=cut),
            kind,
            told,
            strong=strong,
            words=words,
        )

    @staticmethod
    def _labels(leaf: Leaf, before: str, after: str) -> tuple[str, bool, str]:
        """The words that label the leaf, whether an amount stands before them, those after it."""
        words, cut = labelled_by(leaf, before)
        return words, cut, own_after(leaf, after)

    def _kind(
        self, leaf: Leaf, text: str, words: str, after: str, *, cut: bool
    ) -> tuple[str, bool]:
        close = partial(self._close_words, leaf)
        return kind_of(leaf, text, words, after, size=self.places.size, cut=cut, close=close)

    def _of_row(self, leaf: Leaf, before: str, kind: str) -> str:
        """In a row of quantity prices: that of one piece is the price, what follows a sum."""
        outer = leaf.node.parent
        one_cell = outer is None or (outer.tag not in _ROWS and len(AMOUNT.findall(leaf.raw)) > 1)
        row = 0 if outer is None or (kind == "tier" and one_cell) else outer.mem_id
        if kind == "tier":
            if leaf.node.tag in _CELLS and FOR_ONE.search(before):
                return "now"
            self._row = row
        elif (
            row and row == self._row and leaf.node.tag in _CELLS and kind in ("now", "gross", "net")
        ):
            return "other"
        return kind

    def _told(self, leaf: Leaf, text: str, words: str, kind: str) -> PriceText | None:
        """What the text says; None without an amount, whose doubt is then kept."""
        told = read_price(for_reading(text, words), locale=self.locale, currency=self.currency)
        if kind in _BESIDE and (told is None or told.amount is None):
            known = told.list_amount if told else None
            told = told._replace(amount=known) if told and known else self._bare(text)
        if told is None:
            return None
        if told.amount is None and told.list_amount is not None and labels.MEMBER.search(text):
            told = told._replace(
                amount=told.list_amount, list_amount=None, doubt=None
            )  # everyone's
        if told.amount and told.list_amount and _is_fee(leaf, text, told.amount, told.list_amount):
            told = told._replace(amount=told.list_amount, list_amount=None)
        if told.amount is not None and told.list_amount is None:
            told = told._replace(list_amount=self._struck_in(leaf, told.amount))
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
        words: str,
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
                label=words[-MAX_LABEL:],
                ahead=self._plain and self.places.ahead(leaf.node),
                node=leaf.node,
            )
        )

    def _around(self, leaf: Leaf, *, shown: bool = False) -> tuple[str, str]:
        """The words before and after the leaf in its nearest small block.

        `shown`: without those that are hidden.
        """
        if leaf.line:
            return "", ""
        at, context, climbed = leaf.node.parent, "", 0
        while at is not None and climbed < 3:
            text = self.places.text(at)
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
        start, end = find(context, leaf)
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
            if at is None or len(text := self.places.text(at)) > 600:
                return ""
            text = squeeze(text)
            start, end = find(text, leaf)
            if _WORDS.search(text[:start] + text[end:]):
                return text[:start][-60:]
            at = at.parent
        return ""

    def _aside(self, node: LexborNode) -> bool:
        """Inside a box whose heading speaks of other things."""
        at, climbed = node.parent, 0
        while at is not None and at.mem_id not in self.places.above and climbed < 8:
            key = at.mem_id
            if key not in self._headed:
                self._headed[key] = is_headed_aside(at)
            if self._headed[key]:
                return True
            at, climbed = at.parent, climbed + 1
        return False

    def _in_card(self, node: LexborNode) -> bool:
        """Inside one of several like boxes, each with a picture, a link and an amount."""
        at, climbed = node.parent, 0
        while at is not None and at.mem_id not in self.places.above and climbed < 8:
            key = at.mem_id
            if key not in self._card:
                self._card[key] = is_card(at) or (self._plain and is_entry(at))
            if self._card[key]:
                return True
            at, climbed = at.parent, climbed + 1
        return False


def _is_fee(leaf: Leaf, text: str, low: Decimal, high: Decimal) -> bool:
    """Whether the lower amount of a text is a small fee or reward, not the price after a sale."""
    if high < low * LEAST_FEE or labels.LIST.search(text) or labels.SAVING.search(text):
        return False
    return leaf.node.css_first("del, s, strike") is None


LEAST_FEE = 8  # times: hardly a price is ever cut to an eighth

# a currency in an element of its own right before or behind a bare amount
_SIGN_AHEAD = re.compile(rf"(?<!\d)(?<!\d\s)({MONEY})\s*\Z")
_CODE = re.compile(r"[A-Z]{3}")
_SIGN_BEHIND = re.compile(rf"\s*({MONEY})(?![^\W\d_])(?!\s?\d)")


def _signed(text: str, before: str, after: str) -> str:
    """A bare amount with the currency that stands next to it; that of another amount is not."""
    if CURRENCY.search(text) or not _LONE.match(text):
        return text
    found = _SIGN_BEHIND.match(after) or _SIGN_AHEAD.search(before)
    word = found is not None and _CODE.fullmatch(found[1]) is not None
    return text if found is None or (word and not is_currency(found[1])) else f"{text} {found[1]}"


# a measure with its number in the next element: "9,96 €" and "/ 100 ml"
_PER_BEHIND = re.compile(
    r"\s?(?:/|per|pro|je|par|al|por|za|le)\s?\d+(?:[.,]\d+)?\s?(?:k?g|mg|m?l|cl|dl|m[²³23]?|oz|lb)\b",
    re.IGNORECASE,
)


def _measured(text: str, after: str) -> str:
    """The text with the measure that its amount is the price of, where that stands behind it."""
    found = _PER_BEHIND.match(after)
    return f"{text} {found[0].strip()}" if found else text


_ROWS = frozenset({"li", "tr", "dl"})  # elsewhere the quantity stands in a cell of its own


def _least(before: str) -> int | None:
    """From how many pieces on the amount after these words holds; None for "free from 75 €"."""
    found = TIER_BEFORE.search(before) or BUY_FOR.search(before)
    if found is None or CURRENCY.search(before[found.end(found.lastindex or 0) :]):
        return None
    return int(found[found.lastindex or 0])
