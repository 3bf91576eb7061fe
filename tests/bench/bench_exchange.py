"""Reading catalogues and past prices against the bare parsers they stand on.

Prints ratios of one run: `python tests/bench/bench_exchange.py`.
"""

from __future__ import annotations

import csv
import io
import time
import tomllib
from collections.abc import Callable
from decimal import Decimal

from service.exchange.catalogue import book_from_document, dump_book, parse_toml
from service.exchange.history import read_history_text


def seconds(job: Callable[[], object], runs: int = 3) -> float:
    best = float("inf")
    for _ in range(runs):
        start = time.perf_counter()
        job()
        best = min(best, time.perf_counter() - start)
    return best


def catalogue(parts: int = 2000) -> str:
    """`parts` parts with three listings each, and 50 builds of 40 lines."""
    pieces = ['[supplier.s]\nname = "S"\ncurrency = "EUR"\n']
    for number in range(parts):
        pieces.append(f'[part.p{number}]\nname = "Part {number}"\nspec = {{ cells = {number} }}\n')
        for place in range(3):
            url = f"https://s.example/{number}/{place}"
            pieces.append(
                f'[[part.p{number}.listing]]\nsupplier = "s"\nurl = "{url}"\nsold_as = "1 piece"\n'
            )
    for number in range(50):
        lines = "".join(
            f'  {{ part = "p{(number * 40 + line) % parts}", amount = "2 pieces" }},\n'
            for line in range(40)
        )
        pieces.append(f'[build.b{number}]\nname = "B"\ncurrency = "EUR"\nlines = [\n{lines}]\n')
    return "\n".join(pieces)


def history(rows: int = 200_000) -> str:
    made = ["listing,at,price,currency,availability,list_price,tax"]
    for row in range(rows):
        day = f"2026-{1 + row % 12:02d}-{1 + row % 28:02d}T10:{row % 60:02d}:00Z"
        made.append(
            f"https://s.example/{row % 1000},{day},{row % 500 + 1}.99,EUR,in_stock,,included"
        )
    return "\n".join(made)


def main() -> None:
    text = catalogue()
    bare = seconds(lambda: tomllib.loads(text, parse_float=Decimal))
    whole = seconds(lambda: book_from_document(parse_toml(text, "bench"), "bench"))
    book = book_from_document(parse_toml(text, "bench"), "bench")
    out = seconds(lambda: dump_book(book))
    print(f"catalogue of {len(text):,} characters: read and checked {whole / bare:.1f} x tomllib, ")
    print(f"written {out / bare:.1f} x tomllib's reading")
    log = history()
    bare = seconds(lambda: list(csv.reader(io.StringIO(log))))
    whole = seconds(lambda: read_history_text(log))
    print(f"history of 200,000 rows: {whole / bare:.1f} x csv.reader, {whole * 5:.1f} s a million")


if __name__ == "__main__":
    main()
