"""Mutated page folders by the hundred thousand: no crash, none over two seconds, none without evidence.

    python tests/bench/bench_mutate.py [PAGES [SECONDS [SEED]]]

Every page is a folder of tests/pages with bytes flipped, cut, doubled, swapped with
another page's, or hostile pieces put in. An answer "ok" must hold its price in the
evidence: as it stands there, or times a VAT factor of the evidence.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from scrapers.model import Outcome, Page, Reading
from scrapers.read import read_page
from scrapers.texts import read_price

PAGES = Path(__file__).parents[1] / "pages"
AT = datetime(2026, 11, 24, tzinfo=UTC)
HOSTILE = (
    b"<", b">", b'"', b"\x00", b"\xff\xfe", b"<script>", b"</script>", b"<!--", b"]]>", b"&#0;", b"&pound;",
    b"<div>" * 40, b"</div>" * 40, b"<table><tr><td>", b"<b>" * 30, b'"price":"0"', b'"price":1e999',
    b'{"@type":"Product"', b"[[[[[[[[", b"\xe2\x80\xae", b"<p class=price>", b"<select><option>", b"<svg><path/>",
    b"<template>", b"<noscript>", b"\r\n\r\n", b"0", b"9" * 40, b",", b".", b"-", b"EUR", b"\xc2\xa3",
)  # fmt: skip


def mutate(body: bytes, other: bytes, rng: random.Random) -> bytes:
    made = bytearray(body)
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(made) + 1)
        size = rng.choice((1, 2, 8, 40, 200))
        way = rng.randrange(7)
        if way == 0 and made:
            made[min(at, len(made) - 1)] = rng.randrange(256)
        elif way == 1:
            del made[at : at + size]
        elif way == 2:
            made[at:at] = made[at : at + size] * rng.randint(1, 4)
        elif way == 3:
            made[at:at] = rng.choice(HOSTILE)
        elif way == 4:
            start = rng.randrange(len(other) + 1)
            made[at:at] = other[start : start + size]
        elif way == 5:
            made = made[: max(20, at)]
        else:
            end = min(len(made), at + size)
            made[at:end] = bytes(reversed(made[at:end]))
    return bytes(made)


def _amounts(text: str, currency: str | None) -> set[Decimal | None]:
    """What the text says as it stands, and where the page's tongue decides "1,090"."""
    told = [read_price(text, locale=tongue, currency=currency) for tongue in (None, "de", "en")]
    return {a for t in told if t for a in (t.amount, t.low, t.high, t.list_amount)}


def backed(made: Reading) -> bool:
    """Whether the evidence holds the price: as it stands, in other units, or before tax."""
    price = made.price
    if price is None:
        return made.outcome is not Outcome.OK
    for proof in made.evidence:
        if proof.field in ("price", "gross", "net", "low") and f"{price:f}" in proof.value:
            return True
        amounts = _amounts(proof.value[:120], made.currency)
        with suppress(ArithmeticError):
            amounts.add(Decimal(proof.value))
        if any(
            a is not None and a.is_finite() and abs(a - price) < Decimal("0.006") for a in amounts
        ):
            return True
    return False


def keep(body: bytes, name: str) -> None:
    """Into the temporary folder, to become a page folder."""
    folder = Path(tempfile.gettempdir()) / "ebbmark-mutants"
    folder.mkdir(exist_ok=True)
    (folder / f"{name}.html").write_bytes(body)


def main(pages: int = 100_000, seconds: float = 1500, seed: int = 1) -> None:
    rng = random.Random(seed)
    bodies = [p.read_bytes() for p in sorted(PAGES.glob("*/*/page.html"))]
    outcomes: Counter[str] = Counter()
    crashes = unbacked = done = 0
    slowest, spent = 0.0, 0.0
    began = time.perf_counter()
    while done < pages:
        done += 1
        body = mutate(rng.choice(bodies), rng.choice(bodies), rng)
        start = time.perf_counter()
        made = read_page(Page("https://mutant.example/p/1", body, "text/html", AT))
        took = time.perf_counter() - start
        spent += took
        slowest = max(slowest, took)
        outcomes[made.outcome] += 1
        if (made.reason or "").startswith("the page could not be read"):
            crashes += 1
            print("CRASH", made.reason, repr(body[:60]))
            keep(body, f"crash-{crashes}")
        if made.outcome is Outcome.OK and not backed(made):
            unbacked += 1
            print("UNBACKED", made.price, made.currency, [e.value for e in made.evidence][:8])
            keep(body, f"unbacked-{unbacked}")
        if took > 2:
            print("SLOW", took)
            keep(body, f"slow-{done}")
        if time.perf_counter() - began > seconds:
            break
    print(f"{done} pages, {crashes} crashes, {unbacked} ok without evidence")
    print(f"mean {spent / done * 1e3:.2f} ms, slowest {slowest * 1e3:.0f} ms; {dict(outcomes)}")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
