"""Product objects in script state: the ways in which front ends name prices, by construction.

Sources: common practice of single-page shops; minor units by ISO 4217; the pair form of islands
and the escapes of transfer state as their frameworks print them (from memory).
"""

from __future__ import annotations

import html
import json
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from itertools import product
from typing import Any

import pytest

from scrapers.model import Page
from scrapers.read import read_page

AT = datetime(2026, 11, 24, tzinfo=UTC)
NAME = "Tapered Boom 16-8 mm"
PRICE = Decimal("31.50")
SHAPES: dict[str, Any] = {
    "number": {"price": 31.5, "currency": "EUR"},
    "text": {"price": "31.50", "currencyCode": "EUR", "compare_at_price": "36.00"},
    "money": {"price": {"amount": "31.50", "currencyCode": "EUR"}, "compareAtPrice": None},
    "sale": {"salePrice": 31.5, "listPrice": 36.0, "currency": "EUR"},
    "prices": {"prices": {"price": {"value": 31.5, "currency": "EUR"}}},
    "cents": {"price": {"value": {"centAmount": 3150, "currencyCode": "EUR"}}},
    "one-price range": {
        "priceRange": {
            "minVariantPrice": {"amount": "31.5", "currencyCode": "EUR"},
            "maxVariantPrice": {"amount": "31.5", "currencyCode": "EUR"},
        }
    },
    "gross": {
        "pricing": {
            "priceRange": {
                "start": {"gross": {"amount": 31.5, "currency": "EUR"}},
                "stop": {"gross": {"amount": 31.5, "currency": "EUR"}},
            }
        }
    },
    "info": {"priceInfo": {"currentPrice": {"price": 31.5, "currencyUnit": "EUR"}}},
    "minimum": {
        "price_range": {
            "minimum_price": {
                "regular_price": {"value": 36.0, "currency": "EUR"},
                "final_price": {"value": 31.5, "currency": "EUR"},
            }
        }
    },
    "variant": {
        "variants": [{"sku": "B", "title": "16-8", "price": {"amount": "31.5", "currencyCode": "EUR"}}]
    },
    "edges": {
        "variants": {
            "edges": [{"node": {"title": "16-8", "priceV2": {"amount": "31.5", "currencyCode": "EUR"}}}]
        }
    },
    "master": {"masterVariant": {"price": {"value": {"centAmount": 3150, "currencyCode": "EUR"}}}},
    "offers": {"offers": [{"price": 31.5, "priceCurrency": "EUR", "availability": "InStock"}]},
    "sellers": {
        "items": [{"sellers": [{"commertialOffer": {"Price": 31.5, "ListPrice": 36.0}}]}],
        "currency": "EUR",
    },
}  # fmt: skip


def folded(value: Any) -> list[Any]:
    """The value as a list of cells that name each other by their place."""
    cells: list[Any] = []

    def cell(one: Any) -> int:
        at = len(cells)
        cells.append(None)
        if isinstance(one, dict):
            cells[at] = {k: cell(v) for k, v in one.items()}
        elif isinstance(one, list):
            cells[at] = [cell(v) for v in one]
        else:
            cells[at] = one
        return at

    cell(value)
    return cells


def paired(value: Any) -> list[Any]:
    """The value as islands get it: each part in a pair with its kind."""
    if isinstance(value, list):
        return [1, [paired(v) for v in value]]
    if isinstance(value, dict):
        return [0, {k: paired(v) for k, v in value.items()}]
    return [0, value]


def _island(state: Any) -> str:
    props = json.dumps({k: paired(v) for k, v in state.items()})
    return f'<astro-island uid="1" props="{html.escape(props)}"></astro-island>'


def _escaped(state: Any) -> str:
    text = json.dumps(state).replace("&", "&a;").replace('"', "&q;")
    return f'<script id="app-state" type="application/json">{text}</script>'


def _json(name: str, state: Any) -> str:
    return f'<script id="{name}" type="application/json">{json.dumps(state)}</script>'


def _rows(state: Any) -> str:
    row = json.dumps(f"5:{json.dumps(state)}\n")
    return f"<script>self.__next_f.push([1,{row}])</script>"


PACKED: dict[str, Callable[[Any], str]] = {
    "json": lambda state: _json("__NEXT_DATA__", state),
    "assigned": lambda state: f"<script>window.__STATE__ = {json.dumps(state)};</script>",
    "literal": lambda state: (
        f"<script>window.__STATE__ = JSON.parse({json.dumps(json.dumps(state))});</script>"
    ),
    "attribute": lambda state: f'<div id="app" data-page="{html.escape(json.dumps(state))}"></div>',
    "escaped": _escaped,
    "folded": lambda state: _json("__NUXT_DATA__", folded(state)),
    "island": _island,
    "rows": _rows,
}


@pytest.mark.parametrize(("shape", "form"), [*product(SHAPES, PACKED)])
def test_the_state_tells_the_price(shape: str, form: str) -> None:
    thing = {"name": NAME, **SHAPES[shape]}
    near = [{"name": "Foam wheel 40 mm", "price": 3.2, "currency": "EUR"}]
    state = {"product": thing, "related": near, "cart": {"total": 0}}
    body = (
        f"<!doctype html><html lang='en'><head><title>{NAME} | Drumlin</title></head>"
        f"<body>{PACKED[form](state)}</body></html>"
    )
    made = read_page(Page("https://drumlin.example/p/boom", body.encode(), "text/html", AT))
    assert (str(made.outcome), made.price, made.currency) == ("ok", PRICE, "EUR"), made.reason


@pytest.mark.parametrize("form", PACKED)
def test_a_range_that_is_open_stays_open(form: str) -> None:
    ends = {"minVariantPrice": {"amount": "31.5"}, "maxVariantPrice": {"amount": "44.0"}}
    state = {"product": {"name": NAME, "currency": "EUR", "priceRange": ends}}
    body = f"<title>{NAME}</title><h1>{NAME}</h1>{PACKED[form](state)}"
    made = read_page(Page("https://drumlin.example/p/boom", body.encode(), "text/html", AT))
    assert made.price is None
