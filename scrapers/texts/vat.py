"""Two amounts that are one price without and with value added tax."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

# Highest standard rate of VAT in the EU: 27 %.
_NET_RATIO: Final = (Decimal("1.01"), Decimal("1.28"))
# Standard rates in per cent where a currency is used (European Commission, VAT rates applied in
# the member states; others from memory). 25 % of Croatia is left out: where euros are paid, a
# fifth off is the commoner reason for that ratio.
_RATES: Final = {
    "EUR": ("17", "18", "19", "20", "21", "22", "23", "24", "25.5"),
    "GBP": ("20",), "CHF": ("8.1",), "SEK": ("25",), "NOK": ("25",), "DKK": ("25",),
    "PLN": ("23",), "CZK": ("21",), "HUF": ("27",), "RON": ("19", "21"), "ISK": ("24",),
    "JPY": ("8", "10"), "AUD": ("10",), "NZD": ("15",), "ZAR": ("15",),
}  # fmt: skip
_FACTORS: Final = {
    currency: tuple(1 + Decimal(rate) / 100 for rate in rates) for currency, rates in _RATES.items()
}
_ALL: Final = tuple(sorted({factor for factors in _FACTORS.values() for factor in factors}))
_CENT, _UNIT = Decimal("0.011"), Decimal(1)


def is_net_and_gross(
    low: Decimal, high: Decimal, currency: str | None, *, net: bool, gross: bool
) -> bool:
    """Whether two amounts are one price without and with tax. `net`, `gross`: what notes say.

    With a note of the tax taken out any ratio up to the highest rate will do; with a note of
    the tax held alone it must be a standard rate to the cent, else the lower is a sale.
    """
    if not low or not (net or gross):
        return False
    if net:
        return _NET_RATIO[0] <= high / low <= _NET_RATIO[1]
    slack = _UNIT if currency == "JPY" else _CENT
    return any(abs(low * by - high) < slack for by in _FACTORS.get(currency or "", _ALL))
