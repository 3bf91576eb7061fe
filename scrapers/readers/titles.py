"""The product's title without the shop's own name, as many heads append it."""

from __future__ import annotations

import re

from scrapers.readers.dom import Doc
from scrapers.readers.pricelike import squeeze

_SEPARATED = re.compile(r"\s+[-–—|·•»:]+\s+|\s*[|»]\s*")  # noqa: RUF001  # signs of titles
_BARE = re.compile(r"[\W_]+")


def shop_names(doc: Doc) -> tuple[str, ...]:
    """What the page calls its site, bare of blanks and signs."""
    named = (v for k, v in doc.metas if k in ("og:site_name", "application-name"))
    return tuple(b for n in named if len(b := _bare(n)) > 2)


def without_shop(title: str, heading: str | None, shops: tuple[str, ...]) -> str:
    """`title` without the part that is the shop's name, or that the heading does not have."""
    parts = [m.span() for m in _SEPARATED.finditer(title)]
    for start, end in parts:
        lead = title[:start].strip()
        if heading and lead and squeeze(heading).casefold() == lead.casefold():
            return lead
        if lead and _bare(title[end:]) in shops:
            return lead
    return title


def _bare(text: str) -> str:
    return _BARE.sub("", text).casefold()
