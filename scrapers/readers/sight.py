"""Elements with an amount read one by one, each with what it is; doubts are kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

from scrapers.model import Multibuy, PriceText
from scrapers.readers.boxes import Boxes
from scrapers.readers.cards import is_linked_alone
from scrapers.readers.claims import Seen
from scrapers.readers.context import in_sentence, is_sentence, lines_of, of_link
from scrapers.readers.dom import where
from scrapers.readers.kinds import refined
from scrapers.readers.labelled import Labelled, labelled
from scrapers.readers.leaves import Leaf
from scrapers.readers.places import Places, own_class
from scrapers.readers.pricelike import CURRENCY
from scrapers.readers.runs import Ranges, Rows, least
from scrapers.readers.taxwords import tax_label, tax_of_seen
from scrapers.readers.told import Hints, told_by

MAX_PRICE_TEXT = 90
MAX_LABEL = 30
_SPOKEN = "(spoken) "


class Reader:
    """Reads leaves into `Seen`, keeping what cannot be read as doubts."""

    def __init__(
        self, places: Places, title: str | None, locale: str | None, currency: str | None
    ) -> None:
        self.places = places
        self.title = title
        self.seen: list[Seen] = []
        self.multibuy: list[Multibuy] = []
        self.doubts: list[str] = []
        self.cards = 0
        self.alone: list[Leaf] = []  # amounts in a box with a link and nothing else
        self.asides: list[Leaf] = []  # amounts in a box whose heading speaks of other things
        self.garbled = False
        self._plain = False
        self._hints = Hints(locale, currency)
        self._boxes = Boxes(places)
        self._rows = Rows()
        self._ranges = Ranges()

    def take(self, held: list[Leaf], *, plain: bool = False) -> None:
        self._plain = plain
        shown = ((n, leaf) for n, leaf in enumerate(held) if leaf.place.zone != "hidden")
        self._read((n, leaf) for n, leaf in shown if not self._passed_over(leaf))
        self._drop_spoken()

    def take_alone(self) -> None:
        """Read what was passed over: where nothing else shows a price."""
        self._read(enumerate((*self.alone, *self.asides)))

    def _passed_over(self, leaf: Leaf) -> bool:
        """Whether the leaf belongs to other things; it is counted, or kept for later."""
        node, plain = leaf.node, self._plain
        if plain and self._boxes.above_all(leaf):
            return True
        if self._boxes.in_card(node, plain=plain) or (plain and of_link(node)):
            self.cards += 1
        elif self._boxes.aside(node):
            self.asides.append(leaf)
        elif not plain and not leaf.own and is_linked_alone(node, self.places):
            self.alone.append(leaf)
        else:
            return False
        return True

    def _read(self, held: Iterable[tuple[int, Leaf]]) -> None:
        for order, leaf in held:
            for line in lines_of(leaf):
                self._one(line, order)

    def _drop_spoken(self) -> None:
        """Text for screen readers counts only where no other text shows an amount.

        It may say the currency that the amount in sight leaves out ("449 euros" for "449,-").
        """
        shown = [s for s in self.seen if not s.where.startswith(_SPOKEN)]
        if shown and len(shown) < len(self.seen):
            said = _currencies([s for s in self.seen if s.where.startswith(_SPOKEN)])
            self.seen = [replace(s, currency=s.currency or said.get(s.amount)) for s in shown]

    def _one(self, leaf: Leaf, order: int) -> None:
        self.garbled = self.garbled or "\ufffd" in leaf.raw
        one = labelled(leaf, self.places, self.title)
        if one is None:
            return
        told = self._told(one)
        if told is None or told.amount is None:
            return
        kind = self._kind(one, told.amount)
        if self._ranges.closed_by(one, told):
            self._close(told.amount)
        elif told.amount > 0:
            self._keep(one, told, told.amount, refined(kind, told), order)

    def _told(self, one: Labelled) -> PriceText | None:
        """What the text says; without a certain amount its doubt is kept."""
        told = told_by(one, self._hints)
        if told is None:
            return None
        self.multibuy += told.multibuy
        if told.amount is None and told.doubt and one.kind == "now" and CURRENCY.search(one.text):
            self.doubts.append(f"{one.text[:60]}: {told.doubt}")
        return told

    def _kind(self, one: Labelled, amount: Decimal) -> str:
        """What the amount is, once its sentence and the row it stands in are heard."""
        kind = "other" if self._in_text(one) else one.kind
        pieces = least(one.before) if one.cut else None
        if pieces and amount:
            kind = "tier"
            if pieces > 1:
                self.multibuy.append(Multibuy(pieces, amount, "each"))
        if not one.strong and kind == "now" and in_sentence(one.leaf.node):
            return "other"
        return self._rows.kind(one, kind)

    def _in_text(self, one: Labelled) -> bool:
        """A sentence with an amount in it, which nothing calls the price."""
        if one.strong or one.kind not in ("now", "regular", "net", "gross"):
            return False
        return len(one.text) > MAX_PRICE_TEXT or (self._plain and is_sentence(one.text))

    def _close(self, upper: Decimal) -> None:
        """The upper end of a range whose ends stand in two elements."""
        lower = self.seen[-1] if self.seen else None
        if lower is not None and upper > lower.amount:
            self.seen[-1] = replace(lower, low=lower.amount, high=upper, kind="low")

    def _keep(self, one: Labelled, told: PriceText, amount: Decimal, kind: str, order: int) -> None:
        leaf, node = one.leaf, one.leaf.node
        label = tax_label(one.text, one.words, one.behind, cut=one.cut)
        spoken = _SPOKEN if leaf.place.zone == "spoken" else ""
        self.seen.append(
            Seen(
                amount=amount,
                currency=told.currency,
                kind=kind,
                text=one.text,
                where=spoken + where(node),
                level=leaf.place.level,
                order=order,
                tax=tax_of_seen(told, kind, label, own_class(node)),
                low=told.low,
                high=told.high,
                per=told.per,
                list_amount=told.list_amount,
                strong=one.strong,
                named=not self._plain,
                group=leaf.place.branch,
                parent=node.parent.mem_id if node.parent is not None else 0,
                label=one.words[-MAX_LABEL:],
                ahead=self._plain and self.places.ahead(node),
                node=node,
            )
        )


def _currencies(spoken: list[Seen]) -> dict[Decimal, str]:
    """The currency of each amount, list prices among them, that speech names with one."""
    said: dict[Decimal, str] = {}
    for one in spoken:
        if one.currency:
            said |= {v: one.currency for v in (one.amount, one.list_amount) if v is not None}
    return said
