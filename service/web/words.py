"""Every text for people goes through here, so that it can be translated.

The English sentence is its own key; a language is a dict from it to another.
"""

from __future__ import annotations

from collections.abc import Mapping

LANGUAGES: dict[str, Mapping[str, str]] = {"en": {}}


def say(text: str, /, language: str = "en", **values: object) -> str:
    """`text` in the language, with its `{names}` filled in."""
    found = LANGUAGES.get(language, {}).get(text, text)
    return found.format(**values) if values else found


OUTCOMES = {
    "ok": "read",
    "unchanged": "read, unchanged",
    "unreachable": "could not be reached",
    "throttled": "asks to wait",
    "barred": "does not let the program in",
    "refused": "not visited: against our own rules",
    "too_large": "page too large",
    "broken": "page arrived broken",
    "not_product": "no product on the page",
    "doubtful": "read, but doubtful",
    "gone": "page is gone",
}
AVAILABILITY = {
    "in_stock": "in stock",
    "low_stock": "few left",
    "preorder": "to pre-order",
    "backorder": "on order",
    "out_of_stock": "out of stock",
    "discontinued": "no longer made",
    "unknown": "stock unknown",
}
STATUS = {
    "priced": "priced",
    "stale": "old price",
    "doubtful": "doubtful",
    "missing": "missing",
    "out_of_stock": "out of stock",
    "owned": "owned",
}
SOURCES = {
    "jsonld": "structured data",
    "microdata": "structured data in the page",
    "rdfa": "structured data in the page",
    "meta": "the page's head",
    "state": "the shop's own data in the page",
    "visible": "the page as you see it",
    "rule": "your rule",
}
TAX = {"included": "tax included", "excluded": "without tax", "unknown": "tax unknown"}
