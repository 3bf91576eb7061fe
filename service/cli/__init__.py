"""The command `ebbmark`: help and version at once, everything else loaded when asked for."""

from __future__ import annotations

import atexit
import gc
import sys

from service import __version__

GC_EVERY = 50_000  # new objects: loading a library makes many and frees none
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("service.cli.run", "The main job on invented suppliers, served on this machine."),
    "serve": ("service.cli.run", "Schedule, pages and API in one process."),
    "work": ("service.cli.care", "Schedule without pages: one more worker."),
    "load": ("service.cli.book", "Read catalogue files into the book."),
    "dump": ("service.cli.book", "Write the book as a catalogue file."),
    "add": ("service.cli.book", "Add a product page as a listing of a part."),
    "price": ("service.cli.book", "Book a price by hand."),
    "buy": ("service.cli.book", "Book a purchase."),
    "accept": ("service.cli.book", "Believe a reading that was kept aside."),
    "reject": ("service.cli.book", "Drop a reading that was kept aside."),
    "remove": ("service.cli.book", "Watch a listing no longer; its history stays."),
    "relocate": ("service.cli.book", "A listing has moved to a new address."),
    "cut": ("service.cli.book", "A page began to sell something else."),
    "import": ("service.cli.exchange", "Bring past prices or a parts list from files."),
    "export": ("service.cli.exchange", "Take past prices out to a CSV or Parquet file."),
    "read": ("service.cli.prices", "Show what is read from a page, without storing."),
    "poll": ("service.cli.prices", "Visit listings now, in turn and politely."),
    "history": ("service.cli.prices", "Prices of a part or listing over time."),
    "reprice": ("service.cli.costs", "What a build costs, today or on a past day."),
    "index": ("service.cli.index", "How a build's cost moved, and which part moved it."),
    "versions": ("service.cli.versions", "Builds side by side, and cheaper parts that serve."),
    "plan": ("service.cli.plan", "The cheapest order for builds, delivery and import included."),
    "companion": ("service.cli.workshop", "What a build might lack: add it, or dismiss the hint."),
    "order": ("service.cli.orders", "Orders: placed, arrived, wrong, sent back, billed."),
    "stock": ("service.cli.workshop", "What is on hand, on its way, running low and old."),
    "use": ("service.cli.workshop", "A build takes a part from hand."),
    "move": ("service.cli.workshop", "Move a part into another build, or the book (--to URL)."),
    "sell": ("service.cli.workshop", "Sell a part, from hand or out of a build."),
    "write-off": ("service.cli.workshop", "A part is broken, lost or gone off."),
    "deals": ("service.cli.costs", "Targets that are met, with their evidence."),
    "check": ("service.cli.costs", "What is wrong, and what to do about it."),
    "backup": ("service.cli.care", "Write a whole copy of the book to a file."),
    "restore": ("service.cli.care", "Make a backup the book again."),
    "notify": ("service.cli.run", "Send a test notice over a channel."),
}

HEAD = """\
Usage: ebbmark [--db URL] COMMAND [ARGS]...

  What a model build costs today, what it really cost, and when and where to
  buy each part.

Options:
  --db URL   Database; EBBMARK_DB or a file in the user's data directory.
  --version  Show the version and exit.
  --help     Show this text and exit.

Commands:
"""


def help_text() -> str:
    """The text of `ebbmark --help`."""
    wide = max(map(len, COMMANDS))
    rows = [f"  {name:<{wide}}  {text}\n" for name, (_, text) in COMMANDS.items()]
    return HEAD + "".join(rows)


def main() -> None:
    """Entry point of the command."""
    if sys.argv[1:] in ([], ["--help"], ["-h"]):
        sys.stdout.write(help_text())
    elif sys.argv[1:] == ["--version"]:
        sys.stdout.write(f"ebbmark {__version__}\n")
    else:
        gc.set_threshold(GC_EVERY)
        atexit.register(gc.freeze)  # the interpreter's last collection frees what ends anyway
        from service.cli.app import run  # noqa: PLC0415  start-up time

        run()
