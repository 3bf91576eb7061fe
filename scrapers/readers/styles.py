"""What a page's own style blocks say of class names that say nothing: which are struck out."""

from __future__ import annotations

import re

from scrapers.readers.dom import Doc

MAX_STYLES = 60
MAX_STYLE = 400_000  # characters of one style block
MAX_RULES = 40
_CLASS = re.compile(r"[a-z]{0,8}\.(-?[A-Za-z_][\w-]*)\Z")


def struck(doc: Doc) -> frozenset[str]:
    """Class names that a style block of the page strikes out by themselves.

    Rules that hold only under another element or while hovering do not count.
    """
    found: set[str] = set()
    for node in doc.styles[:MAX_STYLES]:
        text = node.text()[:MAX_STYLE]
        at = text.find("line-through")
        for _ in range(MAX_RULES if at >= 0 else 0):
            found |= _names(text[max(0, at - 1_000) : at + 12])
            at = text.find("line-through", at + 12)
            if at < 0:
                break
    return frozenset(found)


def _names(text: str) -> set[str]:
    """The classes alone in a selector of the rule that ends the text."""
    rule = text[text.rfind("}") + 1 :]
    selector, _, _ = rule.rpartition("{")
    selector = selector.rpartition("{")[2].rpartition("*/")[2]  # within @media, behind a remark
    alone = (_CLASS.match(one.strip()) for one in selector.split(","))
    return {one[1] for one in alone if one is not None}
