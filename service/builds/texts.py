"""Every sentence that the costing says to a person, in one place to translate."""

from __future__ import annotations

from typing import Final

NO_LISTING: Final = "nobody on the list sells it: add a listing or a price by hand"
NO_PRICE: Final = (
    "no price is known for that time: poll it, give a price by hand or import past ones"
)
NOT_HERE: Final = "it has a price that cannot be counted here: see what the notes say"
NONE_FITS: Final = "nothing that is sold is large enough for it"
NOT_A_PART: Final = "'{part}' is not in the catalogue"
NOTHING_MEETS: Final = "no part in the catalogue meets {need}"
NEED: Final = "a part with {need}"
NOT_FIXED: Final = "the listing fixed for the line has no price that fits: {listing}"
JOINED: Final = "{what} is more than one {where}: counted by area"
NO_FIT: Final = "{what} does not fit in {where}"
NO_RATE: Final = "no exchange rate from {source} to {target}: {what} has no price here"
RATE: Final = "1 {source} = {rate} {target} on {day}"
TAX_ADDED: Final = "price without tax, {percent} % of {country} added"
TAX_MOVED: Final = "price with the tax of {start}, put on the footing of {end}"
TAX_UNKNOWN: Final = "no tax rate known for {country}: prices of {shop} count as shown"
STALE: Final = "price last seen {age} ago"
IN_HOURS: Final = 96  # an age up to which hours are shown, then days
DOUBTFUL: Final = "a newer reading is doubtful: {reason}"
OUT_OF_STOCK: Final = "last price, cannot be had now"
OWNED: Final = "owned already"
INCLUDED: Final = "{amount} comes with {part}"
SHARES_UNIT: Final = "uses what is bought for another line"
SET: Final = "part of a set; its share of the price: {percent} %"
SET_UNSPLIT: Final = "the set {what} says no split and its parts have no single price"
SAVES_NOW: Final = "{sold_as} from {supplier} costs {saving} {currency} less now"
MORE_PER_UNIT: Final = "{more} more a {unit}"
SAVES_PER_UNIT: Final = "{sold_as} from {supplier} costs {saving} {currency} less a {unit}"
SAVES_IN_MODEL: Final = "{sold_as} from {supplier} costs {saving} {currency} less in this model"
MORE_IN_MODEL: Final = "{more} {currency} more in this model"
MORE_NOW: Final = "{more} {currency} more now"
MORE_FOR_LESS: Final = "{count} cost {saving} {currency} less than {buy}"
MASS_UNKNOWN: Final = "mass unknown: {parts}"
PAID_IN_PART: Final = "paid covers {have} of {need} {unit}"
MIXED_UNITS: Final = "{amount} of {part}: {why}"
SUPPLIES: Final = "workshop supplies"
BARS: Final = "{bars} of {sold_as}, by the best cutting plan"
BARS_GAP: Final = "{bars} of {sold_as}, at least {least} are needed"
BAR: Final = "{count} x {length} mm: {pieces}, {left} left"
SHEETS: Final = "{sheets} of {sold_as} by an estimated cutting plan"
DISCONTINUED: Final = "discontinued; still meets it: {parts}"
ON_ITS_WAY: Final = "{amount} on its way"
IN_BUILD: Final = "{amount} already in the build"
NOT_IN_BOOKS: Final = "{what}: {money} is not in the books, no rate to {currency} is known"
LABOUR: Final = "labour"
LABOUR_RATE: Final = "{rate} an hour"
HOURS: Final = "{hours} h of your own work, in no total: the build names no labour_rate"
HOURS_NO_RATE: Final = "{hours} h of your own work at {rate}, in no total: no rate to {currency}"
COMPONENT: Final = "component of {part}, mixed {mix} by mass"
MIX: Final = "mixed {mix} by mass: {first} g and {second} g"
MARKUP: Final = "payment abroad: {percent} % on top"
MEETS: Final = "meets {need}"
OTHERS_MEET: Final = "parts that do: {count}"
INSTEAD: Final = "chosen of {parts}"
NO_FLAT: Final = "no exchange rate from {source} to {target}: workshop supplies are not counted"
AGED: Final = "{amount} of {part} is past its shelf life and not counted on"
AGED_DO: Final = "if it is still good: ebbmark stock good {part}"
SHIPPING: Final = "shipping"
DUTY: Final = "duty"
IMPORT_TAX: Final = "import tax"
CLEARANCE: Final = "customs clearance"
FOR_PAYING: Final = "payment fee"
NOT_DELIVERED: Final = "delivered is not known: {why}"
NO_DESTINATION: Final = "say where to: destination in the settings or of the build"
NO_ROW: Final = (
    'no shipping from {shop} to {to}: add shipping = [{{ to = "{to}", fee = "..." }}] '
    "to [supplier.{key}]"
)
NO_ROW_FITS: Final = (
    "no shipping row of {shop} to {to} takes this order of {value}: add one to [supplier.{key}]"
)
NO_COUNTRY: Final = (
    "{shop} has no country, so that customs are not known: add it to [supplier.{key}]"
)
NO_TAX_RATE: Final = "no tax rate is known for shipping from {shop} to {to}"
NO_BORDER: Final = (
    "what goods from {shop} cost at the border of {to} is not known: "
    "add a rule to the file of the setting import_cost"
)
NO_DUTY: Final = (
    "the duty on goods from {shop} into {to} is not known: "
    "add it to the file of the setting import_cost"
)
NO_RATE_OF: Final = "no exchange rate from {source} to {target}"
UNDER_LEAST: Final = "{shop} takes orders from {least} on, this one comes to {value}"
UNWEIGHED: Final = "{shop}: shipping as for the heaviest parcel, mass unknown: {parts}"
PAYMENT_FEE: Final = "paying abroad: {fee} an order, for {count} suppliers; not in the sums"
IS_OWNED: Final = "owned, stays what it is"
IS_TOOL: Final = "a tool stays on the shelf"
IS_SHARED: Final = "shared with other models, stays on the shelf"
NOT_ALL_HERE: Final = "not all of it is on hand"
NOT_CUT: Final = "not all its pieces can be cut from what is on hand: nothing is taken for them"


def age_text(hours: int) -> str:
    """`60 h`, `12 days`."""
    return f"{hours} h" if hours <= IN_HOURS else f"{hours // 24} days"
