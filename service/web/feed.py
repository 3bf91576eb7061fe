"""Deals as an Atom feed (RFC 4287), for a feed reader on the same machine. Pure."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring

ATOM = "http://www.w3.org/2005/Atom"
MOST = 100
# What XML 1.0, section 2.2, does not allow in a document
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

Deal = Mapping[str, Any]
Names = Mapping[str, Mapping[str, str]]


def atom(deals: Sequence[Deal], names: Names, home: str, now: str) -> bytes:
    """The newest deals, open and past; `home` is the address of the pages, ending in `/`."""
    feed = Element("feed", xmlns=ATOM)
    _put(feed, "id", home + "deals")
    _put(feed, "title", "Ebbmark: deals")
    _put(feed, "updated", max((d["closed_at"] or d["opened_at"] for d in deals), default=now))
    SubElement(feed, "link", rel="self", href=home + "deals.atom")
    author = SubElement(feed, "author")
    _put(author, "name", "Ebbmark")
    for deal in sorted(deals, key=lambda d: str(d["opened_at"]), reverse=True)[:MOST]:
        _entry(feed, deal, names, home)
    text: bytes = tostring(feed, encoding="utf-8", xml_declaration=True)
    return text


def _entry(feed: Element, deal: Deal, names: Names, home: str) -> None:
    entry = SubElement(feed, "entry")
    name = names.get(deal["kind"], {}).get(deal["subject"], deal["subject"])
    price = f"{deal['price']} {deal['currency']}" if deal["price"] else "back in stock"
    _put(entry, "id", "urn:sha256:" + hashlib.sha256(str(deal["key"]).encode()).hexdigest())
    _put(entry, "title", f"{name}: {price}")
    _put(entry, "published", deal["opened_at"])
    _put(entry, "updated", deal["closed_at"] or deal["opened_at"])
    SubElement(entry, "link", rel="alternate", href=home + "deals")
    _put(entry, "summary", _summary(deal))


def _summary(deal: Deal) -> str:
    words = [deal["condition"] or "", deal["listing"] or ""]
    if deal["closed_at"]:
        words.append(f"ended: {deal['close_reason'] or 'no longer met'}")
    return "; ".join(word for word in words if word)


def _put(parent: Element, tag: str, text: str) -> None:
    SubElement(parent, tag).text = _NOT_XML.sub("\ufffd", text)
