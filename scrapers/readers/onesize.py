"""Stock words of one size, colour or shop among several: they say nothing of the others."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborNode

from scrapers.model import Availability
from scrapers.readers.places import own_class
from scrapers.readers.pricelike import squeeze
from scrapers.texts import read_availability

_SIZE = re.compile(
    r"(?:^|[\s_-])(?:sizes?|swatch(?:es)?|colou?rs?|opt(?:ion)?)(?=$|[\s_-])", re.IGNORECASE
)
_ROWS = frozenset({"li", "label", "option"})
MAX_NAME = 24
MAX_OPTIONS = 300
MAX_ROW = 200


def named_beside(node: LexborNode, said: str) -> bool:
    """Whether words tell of one size or shop among several: in a row beside its name."""
    at: LexborNode | None = node
    for _ in range(3):
        if at is None:
            return False
        if at.tag in _ROWS:
            whole = squeeze(at.text(separator=" ")[:MAX_ROW])
            name = whole.replace(said, "", 1).strip()
            alone = not any(one.tag == at.tag for one in (_next(at), _next(at, back=True)) if one)
            return 0 < len(name) <= MAX_NAME and ":" not in name and not alone
        at = at.parent
    return False


def _next(node: LexborNode, *, back: bool = False) -> LexborNode | None:
    at = node.prev if back else node.next
    while at is not None and not at.is_element_node:
        at = at.prev if back else at.next
    return at


def one_of_several(node: LexborNode) -> bool:
    """A size or colour in a row of short ones: that it is sold out says nothing of the others."""
    if _SIZE.search(own_class(node)) and not node.css_first("li, [class*=size]"):
        return True
    row = node.parent
    if node.tag != "li" or row is None or len(row.text()) > MAX_OPTIONS:
        return False
    beside = [one for one in row.iter() if one.tag == "li" and one.mem_id != node.mem_id]
    said = [read_availability(squeeze(one.text(separator=" "))) for one in beside]
    return bool(beside) and all(one in (None, Availability.UNKNOWN) for one in said)
