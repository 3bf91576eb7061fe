"""A price text against price-parser, in one run: `python tests/bench/bench_texts.py`.

Prints microseconds a text and the ratio, for texts read the first time (the words around
amounts are known from other texts, the text is not) and again. "plain" are shapes as most
price elements hold them, "hard" the texts of the tests.
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
    from collections.abc import Callable, Sequence

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


def quickest(read: Callable[[str], object], text: str, calls: int = 8) -> float:
    clock = time.perf_counter
    least = float("inf")
    for _ in range(calls):
        start = clock()
        read(text)
        least = min(least, clock() - start)
    return least


def best(
    reads: Sequence[Callable[[str], object]], texts: list[str], rounds: int = 6
) -> list[float]:
    """Mean over the texts of each one's quickest call, in seconds, for every way of reading.

    The ways take turns text by text, so that other load on the machine meets them alike.
    """
    least = [[float("inf")] * len(texts) for _ in reads]
    for _ in range(rounds):
        for at, text in enumerate(texts):
            for row, read in zip(least, reads, strict=True):
                row[at] = min(row[at], quickest(read, text))
    return [sum(row) / len(texts) for row in least]


def first(text: str) -> object:
    """A text read the first time, of words that other texts had before."""
    return read_fresh(text, None, None)


def report(name: str, texts: list[str]) -> None:
    peer, fresh, again = best([Price.fromstring, first, read_price], texts)
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
