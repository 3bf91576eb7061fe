"""Schema.org items as the syntaxes give them: type names, values, references, identifiers."""

from __future__ import annotations

from typing import Any

from scrapers.readers.values import gtin

Item = dict[str, Any]
MAX_OFFERS = 500
_GTINS = ("gtin", "gtin13", "gtin14", "gtin12", "gtin8", "isbn", "productID")


def words(value: Any) -> list[str]:
    """Enumeration members or type names without their address."""
    found: list[str] = []
    if value is None:
        return found
    values = value if isinstance(value, (list, tuple)) else [value]
    for one in values:
        name = one.get("@id") or one.get("name") if isinstance(one, dict) else one
        if isinstance(name, str) and name.strip():
            found.append(name.strip().rsplit("/", 1)[-1].rsplit("#", 1)[-1].rsplit(":", 1)[-1])
    return found


def first(value: Any) -> Any:
    """The first of a list, the content of a typed literal, else the value."""
    if isinstance(value, list):
        value = value[0] if value else None
    if isinstance(value, dict) and "@value" in value:
        return value["@value"]
    return value


def listed(value: Any, index: dict[str, Item]) -> list[Item]:
    """The items of a property, references resolved."""
    found: list[Item] = []
    if value is None:
        return found
    for one in _flat(value)[:MAX_OFFERS]:
        if isinstance(one, dict):
            ref = one.get("@id")
            found.append(index.get(ref, one) if len(one) == 1 and isinstance(ref, str) else one)
    return found


def _flat(value: Any) -> list[Any]:
    """A property's values; some shops put a list into the list."""
    values = value if isinstance(value, list) else [value]
    return [v for one in values[:MAX_OFFERS] for v in (one if isinstance(one, list) else [one])]


def code_of(item: Item) -> str | None:
    """The first identifier of an item that is a GTIN."""
    for key in _GTINS:
        if key in item:
            code = gtin(str(first(item[key])).removeprefix("ean:").removeprefix("gtin:"))
            if code is not None:
                return code
    return None
