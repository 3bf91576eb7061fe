"""A page that was read is let go of at once: its parsed tree is memory that no collection counts.

The measure is Python's own: what `gc` finds after a reading stood in a circle.
"""

from __future__ import annotations

import gc
from datetime import UTC, datetime
from pathlib import Path

import pytest
from shop_page import product_page

from scrapers import Page, SiteRules, read_page

PAGES = Path(__file__).parents[2] / "pages"
SAMPLE = sorted(PAGES.glob("*/*/page.html"))[::40]


def circles(body: bytes) -> list[str]:
    page = Page("https://shop.example/p", body, "text/html", datetime(2026, 11, 24, tzinfo=UTC))
    read_page(page, SiteRules())  # what is made once is made
    gc.collect()
    gc.disable()
    gc.set_debug(gc.DEBUG_SAVEALL)
    try:
        read_page(page, SiteRules())
        gc.collect()
        return [type(one).__name__ for one in gc.garbage if "exbor" in type(one).__name__]
    finally:
        gc.set_debug(0)
        gc.garbage.clear()
        gc.enable()


def test_a_product_page_is_let_go_of() -> None:
    assert circles(product_page("35.00")) == []


@pytest.mark.parametrize("path", SAMPLE, ids=lambda path: f"{path.parts[-3]}-{path.parts[-2]}")
def test_pages_of_other_shapes_are_let_go_of(path: Path) -> None:
    assert circles(path.read_bytes()) == []
