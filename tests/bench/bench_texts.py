"""A price text against price-parser, in one run: `python tests/bench/bench_texts.py`.

Prints microseconds a text and the ratio, for texts read the first time (nothing remembered)
and again. "plain" are shapes as most price elements hold them, "hard" the texts of the tests.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from price_parser import Price

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "scrapers" / "texts")]

import test_price_trade as cases  # noqa: E402  found by the path above

from scrapers.texts import read_price  # noqa: E402  the same
from scrapers.texts.price import read_fresh  # noqa: E402  the same

if TYPE_CHECKING:
    from collections.abc import Callable

PLAIN = [
    "$19.99",
    "12,99 €",
    "1.299,00 €",
    "EUR 12,50",
    "1 299 kr",
    "£1,299.00",
    "129 zł",
    "CHF 12.90",
]
CORPUS = ROOT.parent / "shared" / "corpus" / "price_strings.json"


def best(read: Callable[[str], object], texts: list[str], rounds: int = 25) -> float:
    """Mean over the texts of each one's quickest call, in seconds: other load stays out."""
    clock = time.perf_counter
    total = 0.0
    for text in texts:
        least = float("inf")
        for _ in range(rounds):
            start = clock()
            read(text)
            least = min(least, clock() - start)
        total += least
    return total / len(texts)


def report(name: str, texts: list[str]) -> None:
    peer = best(Price.fromstring, texts)
    fresh = best(lambda text: read_fresh(text, None, None), texts)
    again = best(read_price, texts)
    print(
        f"{name:8} {len(texts):5} texts: price-parser {peer * 1e6:5.1f} us, "
        f"first time {fresh * 1e6:5.1f} us (ratio {fresh / peer:5.2f}), "
        f"again {again * 1e6:5.2f} us (ratio {again / peer:5.2f})"
    )


def main() -> None:
    tables = (cases.FORMS, cases.SALES, cases.RANGES, cases.TAX, cases.MANY)
    report("plain", PLAIN)
    if CORPUS.exists():
        rows = json.loads(CORPUS.read_text())["cases"]
        report("regular", [row["price_raw"] for row in rows if row["price_raw"]])
    report("hard", [text for table in tables for text, _ in table])


if __name__ == "__main__":
    main()
