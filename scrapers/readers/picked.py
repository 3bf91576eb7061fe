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


def has_box(node: LexborNode | None) -> bool:
    """Whether an amount stands beside a radio button of its own: a choice, not the price."""
    return _box(node) is not None


def in_button(node: LexborNode | None) -> bool:
    """Whether an amount stands in a button: of several such each is a choice."""
    for _ in range(MAX_CLIMB):
        if node is None:
            return False
        if node.tag == "button" or (node.attributes.get("role") or "") in ("radio", "option"):
            return True
        node = node.parent
    return False


def _box(node: LexborNode | None) -> LexborNode | None:
    """The radio button that belongs to an amount."""
    inner: LexborNode | None = None
    for _ in range(MAX_CLIMB):
        if node is None:
            return None
        boxes = node.css(_INPUTS)
        if boxes:
            return boxes[0] if len(boxes) == 1 else _labelled(inner, boxes)
        inner, node = node, node.parent
    return None


def _labelled(label: LexborNode | None, boxes: list[LexborNode]) -> LexborNode | None:
    """Of several radio buttons the one that a label names, or stands behind."""
    if label is None or label.tag != "label":
        return None
    wanted = label.attributes.get("for")
    named = next((b for b in boxes if wanted and b.attributes.get("id") == wanted), None)
    before = label.prev
    while before is not None and not before.is_element_node:
        before = before.prev
    beside = (b for b in boxes if before is not None and b.mem_id == before.mem_id)
    return named or next(beside, None)


def is_ticked(node: LexborNode | None) -> bool:
    """Whether the box around an amount is the one of several that the page has ticked."""
    own = _box(node)
    if own is not None and "checked" in own.attributes:
        return True
    for _ in range(MAX_CLIMB):
        if node is None or len(node.css(_INPUTS)) > 1:
            return False
        names = (node.attributes.get("class") or "").split()
        told = any(node.attributes.get(a) == "true" for a in _SAID)
        if told or not _MARKED.isdisjoint(names) or node.css_first(_CHOSEN) is not None:
            return True
        node = node.parent
    return False
