"""Regular prices for charts: published sales filters on a series of equal periods.

All but `causal_v` look ahead, so they draw the past and never advise. Ties of modes
go to the higher price. For advice, at any time and without periods, see `sales`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import timedelta
from decimal import Decimal

from service.prices.track import MICROSECOND, Track

Series = Sequence[Decimal]
Filter = Callable[[Series], list[Decimal]]


def resample(track: Track, period: timedelta = timedelta(days=7)) -> list[Decimal | None]:
    """The price that held longest in each period from the first reading on; None: nobody looked.

    By time, not by readings: a page that was visited more often weighs no more.
    """
    if not track.pieces:
        return []
    step, first = period // MICROSECOND, track.pieces[0].start
    count = max(1, -(-(track.at - first) // step))
    held: list[Counter[Decimal]] = [Counter() for _ in range(count)]
    for piece in track.pieces:
        _share_out(held, piece.price, piece.start - first, max(piece.end, piece.seen) - first, step)
    return [_longest(times) for times in held]


def _share_out(
    held: list[Counter[Decimal]], price: Decimal, start: int, end: int, step: int
) -> None:
    for period in range(start // step, min(len(held), end // step + 1)):
        inside = min(end, (period + 1) * step) - max(start, period * step)
        if inside > 0 or start == end:
            held[period][price] += inside


def _longest(times: Counter[Decimal]) -> Decimal | None:
    return max(times, key=lambda price: (times[price], price)) if times else None


def over_gaps(rule: Filter, series: Sequence[Decimal | None]) -> list[Decimal | None]:
    """The filter on the periods that were watched; the others stay None."""
    known = [price for price in series if price is not None]
    answers = iter(rule(known))
    return [None if price is None else next(answers) for price in series]


def _most_common(prices: Series) -> Decimal:
    counts = Counter(prices)
    return max(counts, key=lambda price: (counts[price], price))


def _comes_back(prices: Series, t: int, regular: Decimal, within: int) -> bool:
    """Whether `regular` is charged again within so many periods after `t`, not exceeded before."""
    for price in prices[t + 1 : t + within + 1]:
        if price >= regular:
            return price == regular
    return False


def symmetric_v(prices: Series, back_within: int = 4) -> list[Decimal]:
    """Sales that return to the same regular price (after Nakamura and Steinsson 2008, QJE).

    A fall counts as a sale where the regular price comes back within `back_within` periods.
    """
    regular = list(prices[:1])
    for t in range(1, len(prices)):
        stays = prices[t] < regular[-1] and _comes_back(prices, t, regular[-1], back_within)
        regular.append(regular[-1] if stays else prices[t])
    return regular


def general_v(
    prices: Series, back_within: int = 4, unstable: int = 3, ahead: int = 3
) -> list[Decimal]:
    """The same with sales that end at a new regular price (after Nakamura and Steinsson 2008).

    Where the old price does not return: a window of `ahead` periods with `unstable` or more
    different prices has no regular one; else its highest price is, if charged again.
    """
    regular = list(prices[:1])
    for t in range(1, len(prices)):
        now, last = prices[t], regular[-1]
        if now >= last:
            regular.append(now)
        elif _comes_back(prices, t, last, back_within):
            regular.append(last)
        else:
            regular.append(_new_level(prices, t, unstable, ahead))
    return regular


def _new_level(prices: Series, t: int, unstable: int, ahead: int) -> Decimal:
    window = prices[t : t + ahead + 1]
    if len(set(window)) >= unstable:
        return prices[t]
    top = max(window)
    first = t + list(window).index(top)
    return top if top in prices[first + 1 : first + ahead + 1] else prices[t]


def causal_v(prices: Series, at_most: int = 4) -> list[Decimal]:
    """Without look-ahead: below the regular price counts as a sale for `at_most` periods."""
    regular = list(prices[:1])
    below = 0
    for price in prices[1:]:
        below = below + 1 if price < regular[-1] else 0
        if below == 0 or below > at_most:
            regular.append(price)
            below = 0
        else:
            regular.append(regular[-1])
    return regular


def reference_price(prices: Series, block: int = 13) -> list[Decimal]:
    """The most common price of each quarter (Eichenbaum, Jaimovich and Rebelo 2011, AER)."""
    blocks = [prices[i : i + block] for i in range(0, len(prices), block)]
    return [mode for part in blocks for mode in [_most_common(part)] * len(part)]


def running_mode(prices: Series, half: int = 6) -> list[Decimal]:
    """The most common price within `half` periods either side (after Chahrour 2011)."""
    return [_most_common(prices[max(0, t - half) : t + half + 1]) for t in range(len(prices))]


def kehoe_midrigan(
    prices: Series, half: int = 2, least: float = 1 / 3, rounds: int = 5
) -> list[Decimal | None]:
    """Regular price of Kehoe and Midrigan: the mode around, once it is charged and common enough.

    Then changes are moved, in `rounds`, to where the price itself changed. The first `half`
    periods have no full window and no answer.
    """
    if len(prices) <= 2 * half:
        return [None] * len(prices)
    regular: list[Decimal | None] = [None] * half + [_most_common(prices[: 2 * half + 1])]
    for t in range(half + 1, len(prices)):
        window = prices[t - half : t + half + 1]
        mode = _most_common(window) if len(window) == 2 * half + 1 else None
        common = mode is not None and window.count(mode) > least * len(window)
        regular.append(mode if common and prices[t] == mode else regular[-1])
    for _ in range(rounds):
        _move_changes(prices, regular)
    return regular


def _move_changes(prices: Series, regular: list[Decimal | None]) -> None:
    changes = [
        t
        for t in range(1, len(regular))
        if regular[t - 1] is not None and regular[t] != regular[t - 1]
    ]
    for t in changes:
        if prices[t - 1] == regular[t]:
            regular[t - 1] = regular[t]
        elif prices[t] == regular[t - 1]:
            regular[t] = regular[t - 1]
