"""A coverage-guided run over the reader (package atheris); findings become page folders.

    python tests/bench/fuzz_read.py CORPUS_FOLDER -max_total_time=1200 -max_len=20000

The corpus folder is filled with the pages of tests/pages at the first run.
"""

from __future__ import annotations

import sys
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


def one(data: bytes) -> None:
    made = read_page(Page("https://mutant.example/p/1", data, "text/html", AT))
    if (made.reason or "").startswith("the page could not be read"):
        raise AssertionError(made.reason)
    if made.outcome is Outcome.OK and not backed(made):
        raise AssertionError(f"ok without evidence: {made.price} {made.currency}")


def seed(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for page in PAGES.glob("*/*/page.html"):
        (folder / f"{page.parent.parent.name}-{page.parent.name}").write_bytes(page.read_bytes())


if __name__ == "__main__":
    seed(Path(sys.argv[1]))
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()
