"""Every word that an exported breakdown says to a person, in one place to translate."""

from __future__ import annotations

from typing import Final

LABELS: Final = {
    "group": "Group",
    "part": "Part",
    "amount": "Amount",
    "unit": "Unit",
    "counts": "Counts",
    "supplier": "Supplier",
    "listing": "Page",
    "sold_as": "Sold as",
    "price": "Price",
    "currency": "Currency",
    "buy": "To buy",
    "share": "In this model",
    "to_spend": "To spend",
    "paid": "Paid",
    "delivered": "Delivered",
    "usual": "Usual price",
    "status": "Status",
    "remark": "Remark",
}
TITLE: Final = "{name}: what it costs"
DAY: Final = "Prices of {day}, in {currency}"
DESTINATION: Final = "Prices of {day}, in {currency}, for {destination}"
TOTAL: Final = "Total"
AT_LEAST: Final = "at least"
NOT_KNOWN: Final = "not known"
COMPLETE: Final = "complete"
SUBTOTAL: Final = "{group}, sum"
STATUS: Final = {
    "priced": "",
    "stale": "price last seen {hours} h ago",
    "doubtful": "price in doubt",
    "missing": "no price",
    "out_of_stock": "cannot be had now",
    "owned": "owned already",
}
ON_SALE: Final = "sale price"
RATES: Final = "Exchange rates of the day: {rates}."
RATE: Final = "1 {source} = {rate} {target}"
MISSING: Final = "Without a price and not in the totals, which therefore say at least: {parts}."
SALES: Final = "Sale prices: {parts}."
SHARE: Final = "In this model: the part of each purchase that the build uses up."
TO_SPEND: Final = "To spend: whole units to buy now, less what is on hand."
NOT_COUNTED: Final = "Not counted: shipping, duty and fees; tools; your hours."
NOT_COUNTED_DELIVERED: Final = (
    "Not counted: tools; your hours. Shipping, tax and duty are estimates."
)
CLAIMS: Final = "Sellers' figures are claims; prices change."
MORE_ROWS: Final = "and {count} more lines"
CAUTION: Final = (
    "Lithium batteries, resin and dust, fast models: the makers' instructions and your local "
    "rules come first."
)
