"""Every sentence that an order plan says to a person, in one place to translate."""

from __future__ import annotations

from typing import Final

NOTHING_MEETS: Final = "no part in the catalogue meets it"
NOT_A_PART: Final = "'{part}' is not in the catalogue"
NEED: Final = "a part with {need}"
INSTEAD: Final = "instead of {part}"
EQUIVALENT: Final = "equivalent of {part}: {note}"
NO_LISTING: Final = "nobody on the list sells it: add a listing or a price by hand"
NO_PRICE: Final = "no price is known: poll it or give a price by hand"
OUT_OF_STOCK: Final = "cannot be had now at {suppliers}"
NO_FIT: Final = "no piece that is sold is large enough"
NOT_FIXED: Final = "the listing fixed for the line cannot be had: {listing}"
STALE: Final = "{what}: price last seen {hours} h ago, poll it before you order"
DOUBTFUL: Final = "{what}: a newer price is doubtful, look at the page before you order"
IMPORT: Final = "estimate of {day} by the rule since {start}, looked up on {checked}: {source}"
SPARE: Final = "{count} more than needed: it makes the order cheaper"
MORE_FOR_LESS: Final = "{count} more than needed cost less than the exact number"
BREAK_EVEN: Final = "delivery from {supplier} is not known; it pays off below {limit}"
PROVED: Final = "no cheaper order exists at these prices"
PROVED_BUT: Final = "no cheaper order exists with so few of unknown charges"
GAP: Final = "not proved best: a cheaper order could cost {bound} at least ({percent} % less)"
NOT_ALL_COUNTS: Final = "not every number of {listing} was tried"
SHELF: Final = "kept on hand"
ESTIMATE: Final = "import cost is an estimate; what is charged may differ"
HURRIED: Final = "not everything was weighed that could be: it took too long"
NO_ORDER: Final = "no order was found that the shops' terms allow; more time: --limit"
OTHERS: Final = {
    "all from": "all from {supplier}",
    "without abroad": "without orders abroad",
    "without customs": "without customs",
    "without": "without {supplier}",
    "with": "with {supplier} too",
}
LACKING: Final = "does not go, nobody sells {parts}"
AND_MORE: Final = "{parts} and {count} more"
NOT_FOUND: Final = "no such order was found"
