"""Where an element stands: how near the heading, hidden, or in a zone of other things."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.readers import zones
from scrapers.readers.names import CALLED

MAX_CLIMB = 600
_CALLED_BY = frozenset(CALLED)
_OTHER_TAGS = frozenset({"nav", "footer", "header", "select", "option", "noscript", "dialog"})
_OWN_TAGS = frozenset({"form", "button", "input"})  # "cart" there means: into the cart
_WINDOW = "window"  # opens above the page when asked for
_BOXES = frozenset({"div", "section", "aside"})
_YES = frozenset({"true", "1", "yes"})
_STRUCK_TAGS = frozenset({"del", "s", "strike"})


class Place(NamedTuple):
    """`level`: steps from the heading up to the ancestor that holds both.

    `zone`: "" for the page's own matter, "hidden", "spoken" (for screen readers) or "other".
    `branch`: the child of the shared ancestor under which the element stands.
    """

    level: int
    zone: str
    struck: bool
    branch: int


class Places:
    """Climbs from elements towards the heading, each ancestor judged once."""

    def __init__(
        self,
        heading: LexborNode | None,
        root: LexborNode | None,
        struck: frozenset[str] = frozenset(),
    ) -> None:
        """`struck`: class names that the page's style strikes out."""
        self.heading = heading
        self.struck = struck
        self.above: dict[int, int] = {}
        self._texts: dict[int, str] = {}
        self._sizes: dict[int, int] = {}
        self.body = 0  # the level of the body, 0 without a heading
        at, level = heading, 0
        while at is not None and level < MAX_CLIMB:
            self.above[at.mem_id] = level
            if at.tag == "body":
                self.body = level
            at, level = at.parent, level + 1
        if heading is None and root is not None:
            self.above[root.mem_id] = 0
        self._memo = {
            key: Place(level, "", struck=False, branch=0) for key, level in self.above.items()
        }

    def text(self, node: LexborNode) -> str:
        """The text of a block with blanks between its elements, fetched once for all who ask."""
        key = node.mem_id
        text = self._texts.get(key)
        if text is None:
            text = self._texts[key] = node.text(separator=" ")
        return text

    def size(self, node: LexborNode) -> int:
        """How many characters the element holds; a box is measured once for all within it."""
        key = node.mem_id
        size = self._sizes.get(key)
        if size is None:
            size = self._sizes[key] = len(node.text())
        return size

    def ahead(self, node: LexborNode) -> bool:
        """Whether the element stands before the heading."""
        at: LexborNode | None = node
        while at is not None and at.parent is not None and at.parent.mem_id not in self.above:
            at = at.parent
        for _ in range(MAX_CLIMB):
            at = at.next if at is not None else None
            if at is None:
                return False
            if at.mem_id in self.above:
                return True
        return False

    def of(self, node: LexborNode) -> Place:
        memo = self._memo
        key = node.mem_id
        place = memo.get(key)
        if place is not None:
            return place
        outer = node.parent
        if outer is not None and (place := memo.get(outer.mem_id)) is not None:
            if place.zone != "other":
                place = _step(place, node, key, self.struck)
            memo[key] = place
            return place
        chain = [(key, node)]
        while place is None:
            at = node.parent if len(chain) < MAX_CLIMB else None
            if at is None:
                place = _FAR
                break
            node, key = at, at.mem_id
            place = memo.get(key)
            if place is None:
                chain.append((key, node))
        for key, one in reversed(chain):
            if place.zone != "other":
                place = _step(place, one, key, self.struck)
            memo[key] = place
        return place


_FAR = Place(99, "", struck=False, branch=0)


def _step(outer: Place, node: LexborNode, key: int, names: frozenset[str]) -> Place:
    """The place of an element whose parent stands at `outer`."""
    tag = node.tag or ""
    if tag in ("body", "html"):
        return outer
    attrs = node.attributes
    zone = _zone(node, tag, attrs) or outer.zone
    struck = outer.struck or tag in _STRUCK_TAGS
    if not struck and "style" in attrs:
        struck = bool(zones.STRUCK_STYLE.search(attrs["style"] or ""))
    if not struck and attrs:
        struck = (attrs.get("data-strike") or attrs.get("data-a-strike")) in _YES
        if names and not struck and "class" in attrs:
            struck = not names.isdisjoint((attrs["class"] or "").split())
    if outer.branch and zone == outer.zone and struck == outer.struck:
        return outer
    return Place(outer.level, zone, struck, outer.branch or key)


def _zone(node: LexborNode, tag: str, attrs: dict[str, str | None]) -> str:
    inner = tag == "header" and node.parent is not None and node.parent.tag != "body"
    # a custom element is named by its tag
    if (tag in _OTHER_TAGS and not inner) or ("-" in tag and _class_zone(tag) == "other"):
        return "other"
    if not attrs or (not _CALLED_BY.isdisjoint(attrs) and _is_called_other(attrs)):
        return "other" if attrs else ""
    named = attrs.get("class") or ""
    name = attrs.get("id")
    if name:
        named = f"{named} {name}"
    kind = _class_zone(named) if named else ""
    if kind == "other":
        return kind if tag not in _OWN_TAGS else ""
    if kind == _WINDOW or ("role" in attrs and attrs["role"] == "dialog"):
        kind = "hidden" if tag in _BOXES else ""
    if "hidden" in attrs and (attrs["hidden"] or "").lower() != "until-found":
        return "hidden"
    if "style" in attrs and zones.HIDDEN_STYLE.search(attrs["style"] or ""):
        return "hidden"
    return "hidden" if not kind and named and _toggled_off(node, named) else kind


def _is_called_other(attrs: dict[str, str | None]) -> bool:
    """Whether what tests call an element is the card or the box of other things."""
    called = (attrs[name] or "" for name in CALLED if name in attrs)
    return any(len(one) < MAX_CALLED and zones.OTHER_CALLED.fullmatch(one) for one in called)


MAX_CALLED = 60


@lru_cache(maxsize=8192)  # themes use the same names on every page
def _class_zone(named: str) -> str:
    if zones.OTHER_CLASS.search(named):
        return "other"
    if zones.SPOKEN_CLASS.search(named):
        return "spoken"
    if zones.HIDDEN_CLASS.search(named):
        return "hidden"
    return _WINDOW if zones.WINDOW_CLASS.search(named) else ""


# blocks that a theme always prints and shows by a class of their wrapper
_TOGGLES = {
    "price__sale": ("price--on-sale", True),
    "price__regular": ("price--on-sale", False),
    "price__badge-sale": ("price--on-sale", True),
    "price__badge-sold-out": ("price--sold-out", True),
    "price__badge--sale": ("price--on-sale", True),
    "price__badge--sold-out": ("price--sold-out", True),
}


def _toggled_off(node: LexborNode, named: str) -> bool:
    if "price__" not in named:
        return False
    for block, (wrapper, shown_with) in _TOGGLES.items():
        if block in named.split():
            at, climbed = node.parent, 0
            while at is not None and climbed < 5:
                kinds = (at.attributes.get("class") or "").split()
                if wrapper in kinds:
                    return not shown_with and _has_old_price(at)
                at, climbed = at.parent, climbed + 1
            return shown_with
    return False


def _has_old_price(box: LexborNode) -> bool:
    """Whether the sale block repeats the old price; where not, the regular block stays in sight."""
    sale = box.css_first(".price__sale")
    return sale is None or sale.css_first("s, del, .price-item--regular") is not None


def own_class(node: LexborNode) -> str:
    """Class, id and what tests call one element, as one text."""
    attrs = node.attributes
    named = f"{attrs.get('class') or ''} {attrs.get('id') or ''}".strip()
    if len(attrs) > 1 or not named:
        named = " ".join((named, *(v for n in CALLED if (v := attrs.get(n))))).strip()
    return named
