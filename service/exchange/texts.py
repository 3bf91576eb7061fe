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
    "from_nothing": "From nothing",
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
RATE_DAY: Final = " ({day})"
MANY: Final = {"piece": "pieces", "pair": "pairs"}
MISSING: Final = "Without a price and not in the totals, which therefore say at least: {parts}."
SALES: Final = "Sale prices: {parts}."
SHARE: Final = "In this model: the part of each purchase that the build uses up."
TO_SPEND: Final = "To spend: whole units to buy now, less what is on hand."
FROM_NOTHING: Final = "From nothing: whole units that somebody who has nothing buys."
USUAL: Final = (
    "Usual price: in this model at the price that half of the watched time of {days} days was "
    "at or below."
)
DELIVERED: Final = "Delivered: to spend with what the orders cost beside the goods{charges}."
CHARGES: Final = " ({charges})"
NO_USUAL: Final = "Usual price not known, watched for less than a week: {parts}."
NOT_COUNTED: Final = "Not counted: {what}."
SHIPPING: Final = "shipping, duty and fees"
TOOLS: Final = "tools"
TOOLS_TO_SPEND: Final = "tools, but in what there is to spend"
YOUR_HOURS: Final = "your hours"
ESTIMATES: Final = "Shipping, tax and duty are estimates."
CLAIMS: Final = "Sellers' figures are claims; prices change."
MORE_ROWS: Final = "and {count} more lines"
CAUTION: Final = (
    "Lithium batteries, resin and dust, fast models: the makers' instructions and your local "
    "rules come first."
)
