"""What a visitor sees of templates and late pieces, which parsers put aside.

Declarative shadow trees; templates that a script shows for as long as no choice has brought
another price: `x-if="!chosenPrice"`; pieces of a page sent behind it, hidden, which a script
moves to where a template keeps their place.
"""

from __future__ import annotations

import re

import re2

_TEMPLATE = re2.compile(b"<template")  # RE2 finds a fixed text in bytes sooner than `in` does
_LATE = '<div hidden id="S:'
MAX_LATE = 40  # pieces
_SHOWN = re.compile(
    r"\bshadowrootmode\b|\bx-if\s*=\s*[\"']\s*![^\"'&|=]*price[^\"'&|=]*[\"']", re.IGNORECASE
)
_TAGS = re.compile(r"<template\b([^<>]*)>|</template\s*>", re.IGNORECASE)


def has_templates(page: str | bytes) -> bool:
    """Whether the page has templates at all: a search that most pages need only."""
    if isinstance(page, bytes):
        return _TEMPLATE.search(page) is not None
    return "<template" in page


def opened(html: str) -> str:
    """The page with each such template as a plain element, late pieces in their places.

    Other templates stay what they are; light children that fill the slots of a tree follow
    behind it.
    """
    kinds: list[bool] = []
    if _LATE in html:
        html = _moved(html)

    def plain(found: re.Match[str]) -> str:
        attrs = found[1]
        if attrs is not None:
            kinds.append(_SHOWN.search(attrs) is not None)
            return "<div>" if kinds[-1] else found[0]
        return "</div>" if kinds and kinds.pop() else found[0]

    return _TAGS.sub(plain, html)


def _moved(html: str) -> str:
    """Each late piece in the place that its template keeps, as the page's own script does it."""
    for _ in range(MAX_LATE):
        start = html.find(_LATE)
        name = html[start + len(_LATE) :].partition('"')[0][:20] if start >= 0 else ""
        call = html.find(f'"S:{name}")', start) if name.isalnum() else -1
        end = html.rfind("</div><script", start, call) if call >= 0 else -1
        if end < 0:
            break
        inner = html[html.find(">", start) + 1 : end]
        place = re.search(rf'<template id="B:{name}"[^<>]*></template>', html[:start])
        rest = html[end + len("</div>") :]
        ahead = html[: place.start()] + inner + html[place.end() : start] if place else ""
        html = (ahead or f"{html[:start]}<div>{inner}</div>") + rest
    return html
