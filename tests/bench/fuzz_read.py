"""A coverage-guided run over the reader (package atheris); findings become page folders.

A finding does not end the run: it goes to the folder ebbmark-findings in the temporary folder.

    python tests/bench/fuzz_read.py CORPUS_FOLDER -max_total_time=1200 -max_len=20000

The corpus folder is filled with the pages of tests/pages at the first run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

import atheris  # noqa: E402  # after the path is set

with atheris.instrument_imports(include=["scrapers"]):
    from scrapers.model import Outcome, Page
    from scrapers.read import read_page

from bench_mutate import backed  # noqa: E402  # beside this file

PAGES = Path(__file__).parents[1] / "pages"
AT = datetime(2026, 11, 24, tzinfo=UTC)
FINDINGS = Path(tempfile.gettempdir()) / "ebbmark-findings"
MOST = 20
found: Counter[str] = Counter()


def wrong(data: bytes) -> str | None:
    """What is wrong with the reading of these bytes, None where nothing is."""
    began = time.perf_counter()
    made = read_page(Page("https://mutant.example/p/1", data, "text/html", AT))
    if time.perf_counter() - began > 2:
        return "slow"
    if (made.reason or "").startswith("the page could not be read"):
        return made.reason
    if made.outcome is Outcome.OK and not backed(made):
        return f"ok without evidence, {made.source}"
    return None


def one(data: bytes) -> None:
    """A finding is kept, at most MOST of a kind, and the run goes on."""
    kind = wrong(data)
    if kind is None or found[kind] >= MOST:
        return
    found[kind] += 1
    FINDINGS.mkdir(exist_ok=True)
    name = "".join(c if c.isalnum() else "-" for c in kind)
    (FINDINGS / f"{name}-{found[kind]}.html").write_bytes(data)
    print("FINDING", kind, flush=True)


def seed(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for page in PAGES.glob("*/*/page.html"):
        (folder / f"{page.parent.parent.name}-{page.parent.name}").write_bytes(page.read_bytes())


if __name__ == "__main__":
    seed(Path(sys.argv[1]))
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()
