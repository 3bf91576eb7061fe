"""Choices of a configurable product whose prices stand in a configuration script by variant id."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from scrapers.model import Choice
from scrapers.readers.dom import MAX_SCRIPTS, Doc
from scrapers.readers.lenient import parse
from scrapers.readers.values import clean, stated

MAX_SCRIPT = 1 << 19
MAX_CHOICES = 300
_KEY = '"optionPrices"'


def read(doc: Doc, currency: str | None) -> tuple[Choice, ...]:
    """The variants of the first such script; empty where there is none."""
    for node in doc.scripts[:MAX_SCRIPTS]:
        text = doc.script_text(node)
        if _KEY not in text or len(text) > MAX_SCRIPT:
            continue
        start = text.find("{")
        for value in parse(text[start:], watch_doubles=False).values if start >= 0 else ():
            config = _config(value)
            if config is not None:
                return _choices(config, currency)
    return ()


def _config(value: Any) -> dict[str, Any] | None:
    stack, seen = [value], 0
    while stack and seen < 200:
        one = stack.pop()
        seen += 1
        if isinstance(one, dict):
            if isinstance(one.get("optionPrices"), dict):
                return one
            stack.extend(v for v in one.values() if isinstance(v, dict))
    return None


def _choices(config: dict[str, Any], currency: str | None) -> tuple[Choice, ...]:
    names = _names(config)
    skus = config.get("sku") if isinstance(config.get("sku"), dict) else {}
    made = []
    for key, prices in list(config["optionPrices"].items())[:MAX_CHOICES]:
        amount = _final(prices, currency)
        if amount is not None:
            sku = clean(skus.get(key), 80) if skus else None
            name = " / ".join(names.get(key, ())) or sku or str(key)
            made.append(Choice(name, sku or clean(key, 80), amount, currency))
    return tuple(made)


def _final(prices: Any, currency: str | None) -> Decimal | None:
    held = prices.get("finalPrice") if isinstance(prices, dict) else None
    value = stated(held.get("amount") if isinstance(held, dict) else held, currency)
    return value.amount


def _names(config: dict[str, Any]) -> dict[str, list[str]]:
    """Of each variant id the labels of its options."""
    found: dict[str, list[str]] = {}
    attributes = config.get("attributes")
    for attribute in attributes.values() if isinstance(attributes, dict) else ():
        options = attribute.get("options") if isinstance(attribute, dict) else None
        for option in options if isinstance(options, list) else ():
            if not isinstance(option, dict) or not isinstance(option.get("products"), list):
                continue
            label = clean(option.get("label"), 80) or ""
            for key in option["products"][:MAX_CHOICES]:
                found.setdefault(str(key), []).append(label)
    return found
