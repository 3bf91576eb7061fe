"""Every page folder: `page.html` goes in, the fields of `expected.json` come out.

`expected.json` holds `url`, `rules` (optional), `source` (where the shape or the
figure is from), `why`, and `reading`: the fields that are checked.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from scrapers.model import Ids, Page, SiteRules
from scrapers.read import read_page
from scrapers.read_json import reading_to_json

PAGES = Path(__file__).parents[2] / "pages"
FOLDERS = sorted(p.parent for p in PAGES.glob("*/*/expected.json"))
AT = datetime(2026, 11, 24, tzinfo=UTC)


def rules_of(raw: dict[str, Any] | None) -> SiteRules | None:
    if raw is None:
        return None
    ids = Ids(**raw["ids"]) if "ids" in raw else None
    return SiteRules(**{**raw, "ids": ids})


def read_folder(folder: Path) -> tuple[dict[str, Any], dict[str, Any]]:
    told = json.loads((folder / "expected.json").read_text("utf-8"))
    page = Page(
        url=told["url"],
        body=(folder / "page.html").read_bytes(),
        content_type=told.get("content_type", "text/html"),
        fetched_at=AT,
    )
    made = read_page(page, rules_of(told.get("rules")))
    return told, reading_to_json("page.html", told["url"], made)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda f: f"{f.parent.name}/{f.name}")
def test_page_folder(folder: Path) -> None:
    told, made = read_folder(folder)
    assert told["source"], "a page folder names the source of its shape"
    got = {key: made[key] for key in told["reading"]}
    assert got == told["reading"], f"{told.get('why')}\nreason: {made['reason']}"


@pytest.mark.parametrize("name", ["price-after-many-amounts", "amount-after-long-text"])
def test_the_evidence_shows_the_price_that_is_told(name: str) -> None:
    _, made = read_folder(PAGES / "found" / name)
    assert any(made["price"] in proof["value"] for proof in made["evidence"])
