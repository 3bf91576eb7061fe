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
LEFT_OUT: Final = "sold only by {suppliers}"
STALE: Final = "{what}: price last seen {hours} h ago, poll it before you order"
DOUBTFUL: Final = "{what}: a newer price is doubtful, look at the page before you order"
NO_ROWS: Final = (
    "no delivery price to {country} is in the catalogue: give {supplier} a shipping row"
)
NO_COUNTRY: Final = (
    "delivery is not known without a country: name one with --to, or set `destination`"
)
NO_ROW_TAKES: Final = (
    "no delivery price of {supplier} takes this order (mass, value or goods class)"
)
NO_SUPPLIER_CURRENCY: Final = "no exchange rate from {source} to {target}: delivery is not known"
UNWEIGHED: Final = "mass of {parts} is not known: counted as the heaviest parcel that is sent"
NO_BORDER: Final = "what the import into {country} costs is not known"
NO_ORIGIN: Final = "the country of {supplier} is not known: import cost is not counted"
UNKNOWN_DUTY: Final = "{what} is not known and not counted"
IMPORT: Final = "estimate of {day} by the rule since {start}, looked up on {checked}: {source}"
NO_GROUP: Final = "no tariff group is given for {parts}: each counts as its own"
JUST_BELOW: Final = "{left} below the limit of {limit}: above it the ordinary duty holds"
SPARE: Final = "{count} more than needed: it makes the order cheaper"
MORE_FOR_LESS: Final = "{count} more than needed cost less than the exact number"
MIN_ORDER: Final = "{count} more than needed: the least order is {least}"
ALL_FROM: Final = "all from {supplier}"
NO_ABROAD: Final = "without orders abroad"
NO_CUSTOMS: Final = "without customs"
WITHOUT: Final = "without {supplier}"
WITH: Final = "with {supplier} too"
LACKS: Final = "{count} of {all} lines are not sold there: {parts}"
BREAK_EVEN: Final = "delivery from {supplier} is not known; it pays off below {limit}"
PROVED: Final = "no cheaper order exists at these prices"
GAP: Final = "not proved best: a cheaper order could cost {bound} at least ({percent} % less)"
NOT_ALL_COUNTS: Final = "not every number of {listing} was tried"
SHELF: Final = "kept on hand"
ESTIMATE: Final = "import cost is an estimate; what is charged may differ"
CAUTION_SPLIT: Final = "splitting one order into parcels saves no flat duty"
NOT_THE_LEAST: Final = "at least"
