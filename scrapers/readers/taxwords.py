"""Whether an amount holds the tax, by the words around it and the names of its element."""

from __future__ import annotations

import re

from scrapers.model import PriceText, Tax
from scrapers.readers import classes, labels
from scrapers.readers.pricelike import AMOUNT

_LETTERS = re.compile(r"[^\W\d_]{2}")
_CLOSING = re.compile(r"[^\d()]{2,24}\)")  # "120.00 inc GST (109.09 ex GST)"
# "5.08 + VAT", but not "5.08 + VAT 1.02"
_PLUS_TAX = re.compile(
    r"\+ ?(?:iva|btw|vat|gst|dph|moms|mva|alv|[áa]fa|tva|mwst|ust)\b(?![^\w(]{0,4}\d)",
    re.IGNORECASE,
)
_WITHOUT_TAX = re.compile(r"without-?tax", re.IGNORECASE)


def tax_label(text: str, before: str, after: str, *, cut: bool = False) -> str | None:
    """Net or gross, as the words call the amount; None where they do not say.

    `cut`: another amount stands before the words `before`.
    """
    if not _LETTERS.search(f"{before} {text} {after}"):
        return None
    net, gross = labels.NET.search(text), labels.GROSS.search(text)
    if net and gross:
        return _tail_label(text)
    if cut and not net and not gross and (trailing := _trailing_label(after)):
        return trailing  # what stands before may belong to the amount before
    if net or (not gross and labels.NET.search(before) and not labels.NET.search(after)):
        return "net"
    if not gross and (closing := _CLOSING.match(after)):
        return _trailing_label(closing[0].rstrip(" )"))
    return "gross" if gross or labels.GROSS.search(before) else _trailing_label(after)


def _tail_label(text: str) -> str | None:
    """Of two tax words the one behind the amount: "incl. BTW (20,62 excl.)"."""
    tail = AMOUNT.split(text)[-1]
    net, gross = labels.NET.search(tail), labels.GROSS.search(tail)
    return None if bool(net) == bool(gross) else "net" if net else "gross"


def _trailing_label(after: str) -> str | None:
    """A tax word right after the amount, unless it leads the next one ("Ex Tax: 6.00")."""
    after = after.lstrip(" (*")
    if _PLUS_TAX.match(after):
        return "net"
    for kind, pattern in (("net", labels.NET), ("gross", labels.GROSS)):
        found = pattern.match(after)
        if found and not after[found.end() :].lstrip().startswith(":"):
            return kind
    return None


def tax_of_seen(told: PriceText, kind: str, label: str | None, named: str) -> Tax:
    """The tax of an amount. `label`: net or gross; `named`: the class words of its element."""
    if told.tax is not Tax.UNKNOWN:
        return told.tax
    if "net" in (kind, label):
        # one theme calls its only price "without tax" where the shop has no taxes at all
        bare = label != "net" and _WITHOUT_TAX.search(named)
        return Tax.UNKNOWN if bare else Tax.EXCLUDED
    gross = "gross" in (kind, label) or classes.GROSS.search(named)
    return Tax.INCLUDED if gross else Tax.UNKNOWN
