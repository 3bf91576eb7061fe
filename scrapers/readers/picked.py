"""The variant that the page has chosen: options selected in the form that holds the table."""

from __future__ import annotations

from selectolax.lexbor import LexborNode

from scrapers.model import Choice
from scrapers.readers.dom import Doc

MAX_FIELDS = 12
_INPUTS = "input[type=radio]"
_CHOSEN = "input[checked], option[selected]"
_MARKED = frozenset({"active", "selected", "is-active", "is-selected", "checked", "current"})
_SAID = ("aria-checked", "aria-pressed", "aria-selected")
MAX_CLIMB = 3


def read(doc: Doc, choices: tuple[Choice, ...]) -> Choice | None:
    """The one choice with a price that fits every selected option; None where one is open."""
    for node in doc.tables[:50]:
        if node.tag != "form" or "data-product_variations" not in node.attributes:
            continue
        wanted = _selected(node)
        if not wanted:
            return None
        fits = [c for c in choices if c.price is not None and _parts(c) <= wanted]
        return fits[0] if len(fits) == 1 else None
    return None


def _parts(choice: Choice) -> set[str]:
    return {part.strip().casefold() for part in choice.name.split(" / ")}


def _selected(form: LexborNode) -> set[str] | None:
    """The values selected, none of the fields left open."""
    fields = form.css("select")[:MAX_FIELDS]
    made = set()
    for one in fields:
        option = one.css_first("option[selected]")
        value = (option.attributes.get("value") or "").strip() if option is not None else ""
        if not value:
            return None
        made.add(value.casefold())
    return made or None


class Boxes:
    """The radio buttons within elements, each element searched once for all amounts in it."""

    def __init__(self) -> None:
        self._within: dict[int, list[LexborNode]] = {}
        self._named: dict[int, dict[str, LexborNode]] = {}
        self._chosen: dict[int, bool] = {}

    def within(self, node: LexborNode) -> list[LexborNode]:
        key = node.mem_id
        if key not in self._within:
            self._within[key] = node.css(_INPUTS)
        return self._within[key]

    def named(self, node: LexborNode, name: str) -> LexborNode | None:
        """The radio button of that id within the element, the first of several."""
        key = node.mem_id
        if key not in self._named:
            boxes = reversed(self.within(node))
            self._named[key] = {box.attributes.get("id") or "": box for box in boxes}
        return self._named[key].get(name) if name else None

    def chosen(self, node: LexborNode) -> bool:
        """Whether something within the element is ticked or selected."""
        key = node.mem_id
        if key not in self._chosen:
            self._chosen[key] = node.css_first(_CHOSEN) is not None
        return self._chosen[key]

    def of(self, node: LexborNode | None) -> LexborNode | None:
        """The radio button that belongs to an amount."""
        inner: LexborNode | None = None
        for _ in range(MAX_CLIMB):
            if node is None:
                return None
            boxes = self.within(node)
            if boxes:
                return boxes[0] if len(boxes) == 1 else self._labelled(inner, node)
            inner, node = node, node.parent
        return None

    def _labelled(self, label: LexborNode | None, outer: LexborNode) -> LexborNode | None:
        """Of several radio buttons the one that a label names, or stands behind."""
        if label is None or label.tag != "label":
            return None
        before = label.prev
        while before is not None and not before.is_element_node:
            before = before.prev
        beside = before if before is not None and _is_radio(before) else None
        return self.named(outer, label.attributes.get("for") or "") or beside


def _is_radio(node: LexborNode) -> bool:
    return node.tag == "input" and (node.attributes.get("type") or "") == "radio"


def has_box(node: LexborNode | None, boxes: Boxes) -> bool:
    """Whether an amount stands beside a radio button of its own: a choice, not the price."""
    return boxes.of(node) is not None


def in_button(node: LexborNode | None) -> bool:
    """Whether an amount stands in a button: of several such each is a choice."""
    for _ in range(MAX_CLIMB):
        if node is None:
            return False
        if node.tag == "button" or (node.attributes.get("role") or "") in ("radio", "option"):
            return True
        node = node.parent
    return False


def is_ticked(node: LexborNode | None, boxes: Boxes) -> bool:
    """Whether the box around an amount is the one of several that the page has ticked."""
    own = boxes.of(node)
    if own is not None and "checked" in own.attributes:
        return True
    for _ in range(MAX_CLIMB):
        if node is None or len(boxes.within(node)) > 1:
            return False
        names = (node.attributes.get("class") or "").split()
        told = any(node.attributes.get(a) == "true" for a in _SAID)
        if told or not _MARKED.isdisjoint(names) or boxes.chosen(node):
            return True
        node = node.parent
    return False
