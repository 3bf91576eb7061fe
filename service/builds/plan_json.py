"""An order plan as the JSON object of `ebbmark plan`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from scrapers import format_amount
from service.builds import plan_texts as texts
from service.builds import texts as words
from service.builds.amounts import shown_in
from service.builds.cents import number_text, to_cents
from service.builds.offers import Market, hours
from service.builds.plan_search import Buy, Other, PlacedOrder, Plan
from service.builds.plan_shares import shares_of
from service.builds.plan_wants import Want
from service.model.catalogue import ShippingRow
from service.model.money import Money, money_text, quantum
from service.model.times import time_text

Names = Mapping[str, str]  # builds by key


def plan_to_json(plan: Plan, market: Market, names: Names) -> dict[str, Any]:
    """Money as text with the currency's minor units, absent as None, times in UTC."""
    made = _Writer(plan, market, names)
    shares = shares_of(plan, market)
    people: dict[str, Decimal] = {}
    for share in shares:
        if share.person:
            people[share.person] = people.get(share.person, Decimal(0)) + share.total
    return {
        "currency": plan.currency,
        "at": time_text(market.view.at),
        "destination": market.view.destination,
        "orders": [made.order(order) for order in plan.orders],
        "totals": made.totals(),
        "proof": made.proof(),
        "lacking": [made.want(want) | {"why": why} for want, why in plan.lacking],
        "covered": plan.covered,
        "others": [made.other(other) for other in plan.others],
        "pays_below": [
            {"supplier": key, "limit": made.money(limit), "note": made.below(key, limit)}
            for key, limit in plan.pays_below
        ],
        "shares": [
            {
                "for": share.person or None,
                "build": share.build or None,
                "name": names.get(share.build, texts.SHELF),
                "goods": made.money(share.goods),
                "charges": made.money(share.charges),
                "total": made.money(share.total),
            }
            for share in shares
        ],
        "people": [{"for": name, "total": made.money(sum_)} for name, sum_ in people.items()],
        "notes": made.notes(),
    }


FEW = 3  # parts that are named in a sentence


def _lacking(parts: Sequence[str]) -> str:
    """Why a way of ordering does not go."""
    if not parts:
        return texts.NOT_FOUND
    named = ", ".join(parts[:FEW])
    if len(parts) > FEW:
        named = texts.AND_MORE.format(parts=named, count=len(parts) - FEW)
    return texts.LACKING.format(parts=named)


class _Writer:
    def __init__(self, plan: Plan, market: Market, names: Names) -> None:
        self.plan, self.market, self.names = plan, market, names

    def money(self, value: Decimal) -> str:
        return money_text(value, self.plan.currency)

    def want(self, want: Want) -> dict[str, Any]:
        return {
            "part": want.name,
            "build": want.build or None,
            "for": want.person or None,
        }

    def totals(self) -> dict[str, Any]:
        orders, nothing = self.plan.orders, to_cents(Fraction(0), self.plan.currency)
        goods = sum((order.landed.goods for order in orders), nothing)
        return {
            "goods": self.money(goods),
            "charges": self.money(self.plan.total - goods),
            "total": self.money(self.plan.total),
            "complete": self.plan.complete,
        }

    def proof(self) -> dict[str, Any]:
        total, bound = self.plan.total, self.plan.bound
        gap = (total - bound) / total * 100 if total and not self.plan.proved else Decimal(0)
        percent = number_text(Fraction(gap), 3)
        told = texts.GAP.format(bound=Money(bound, self.plan.currency), percent=percent)
        return {
            "proved": self.plan.proved,
            "bound": self.money(bound),
            "gap_percent": percent,
            "text": self._proved() if self.plan.proved else told,
        }

    def _proved(self) -> str:
        known = all(not order.landed.unknown for order in self.plan.orders)
        return texts.PROVED if known else texts.PROVED_BUT

    def other(self, other: Other) -> dict[str, Any]:
        lacks = list(dict.fromkeys(self.plan.wants[n].name for n in other.lacks))
        more = None if other.total is None else self.money(other.total - self.plan.total)
        return {
            "kind": other.kind,
            "supplier": other.name or None,
            "text": texts.OTHERS[other.kind].format(supplier=self._shop(other.name)),
            "total": None if other.total is None else self.money(other.total),
            "more": more,
            "complete": other.complete,
            "orders": other.orders,
            "lacks": lacks,
            "why": None if other.total is not None else _lacking(lacks),
        }

    def below(self, key: str, limit: Decimal) -> str:
        money = Money(limit, self.plan.currency)
        return texts.BREAK_EVEN.format(supplier=self._shop(key), limit=money)

    def _shop(self, key: str) -> str:
        found = self.market.view.suppliers.get(key)
        return found.name if found else key

    def notes(self) -> list[str]:
        found = []
        if any(order.terms.border is not None for order in self.plan.orders):
            found.append(texts.ESTIMATE)
        found += [texts.NOT_ALL_COUNTS.format(listing=key) for key in self.plan.untried]
        found += [texts.HURRIED] if self.plan.hurried else []
        parts = [way.part.key for want in self.plan.wants for way in want.ways]
        return [*found, *self.market.warnings(dict.fromkeys(parts))]

    def order(self, order: PlacedOrder) -> dict[str, Any]:
        landed = order.landed
        at_border = self._at_border(order)
        return {
            "supplier": order.place.supplier,
            "name": self._shop(order.place.supplier),
            "country": order.place.country or None,
            "lines": [self._line(buy) for buy in order.buys],
            "remarks": self._remarks(order),
            "goods": self.money(landed.goods),
            "shipping": self._shipping(order),
            "charges": [{"name": c.name, "cost": self.money(c.cost)} for c in landed.charges],
            "import": None if order.terms.border is None else self._import(order, at_border),
            "to_supplier": self.money(order.total - sum(at_border.values(), Decimal(0))),
            "total": self.money(order.total),
            "complete": not landed.unknown,
            "unknown": list(landed.unknown),
            "notes": list(landed.notes),
            "booking": (booking := self._booking(order, at_border)),
            "place": command_of(booking),
        }

    def _line(self, buy: Buy) -> dict[str, Any]:
        quote = buy.good.quote
        return {
            "listing": quote.listing.key,
            "url": quote.listing.url,
            "parts": [supply.part for supply in quote.listing.supplies],
            "names": self._names(buy),
            "sold_as": format_amount(quote.sold_as),
            "count": number_text(buy.units),
            "price": money_text(quote.offer.price, quote.offer.currency),
            "currency": quote.offer.currency,
            "cost": self.money(buy.cost),
            "status": quote.status,
            "for": [self._served(buy, number) for number in sorted(buy.serves)],
        }

    def _remarks(self, order: PlacedOrder) -> list[dict[str, Any]]:
        """What there is to know of the lines, each thing once with the parts that it is of."""
        found: dict[str, dict[str, str]] = {}
        for buy in order.buys:
            key = "+".join(supply.part for supply in buy.good.listing.supplies)
            notes = [*self._doubts(buy), *buy.notes, *self._spare(buy), *self._instead(buy)]
            for note in [*notes, *buy.good.quote.notes]:
                found.setdefault(note, {})[key] = "+".join(self._names(buy))
        return [
            {"parts": list(named), "names": list(named.values()), "note": note}
            for note, named in found.items()
        ]

    def _names(self, buy: Buy) -> list[str]:
        parts = self.market.view.parts
        return [parts[supply.part].name for supply in buy.good.listing.supplies]

    def _instead(self, buy: Buy) -> list[str]:
        """Parts that serve in another's place, and why they may."""
        served = [self._served(buy, number) for number in sorted(buy.serves)]
        told = [row["note"] or texts.INSTEAD.format(part=row["part"]) for row in served]
        return [text for row, text in zip(served, told, strict=True) if row["instead"]]

    def _served(self, buy: Buy, number: int) -> dict[str, Any]:
        want = self.plan.wants[number]
        ways = [way for way in want.ways if way.part.key in buy.good.holds] or list(want.ways)
        way = ways[0]
        unit, size = shown_in(way.part, buy.serves[number])
        return self.want(want) | {
            "instead": None if way.part.key == want.name else way.part.key,
            "amount": number_text(buy.serves[number] / size, 12),
            "unit": unit,
            "note": way.note or None,
        }

    def _doubts(self, buy: Buy) -> list[str]:
        quote = buy.good.quote
        if quote.status == "stale":
            return [texts.STALE.format(what=quote.listing.key, hours=hours(quote.age))]
        doubtful = quote.status == "doubtful"
        return [texts.DOUBTFUL.format(what=quote.listing.key)] if doubtful else []

    def _spare(self, buy: Buy) -> list[str]:
        """Whole units of a plain line beyond what is needed of them."""
        good, supplies = buy.good, buy.good.listing.supplies
        held = good.holds[supplies[0].part]
        used = sum(buy.serves.values(), Fraction(0))
        over = int((held * buy.steps - used) / held) if held else 0
        if len(supplies) > 1 or buy.notes or over < 1 or buy.steps <= good.least:
            return []
        fewer = good.cents(buy.steps - over) > good.cents(buy.steps)
        pattern = texts.MORE_FOR_LESS if fewer else texts.SPARE
        return [pattern.format(count=number_text(good.units(over)))]

    def _shipping(self, order: PlacedOrder) -> dict[str, Any] | None:
        row = order.row
        if row is None:
            return None
        cost = [c.cost for c in order.landed.charges if c.name == words.SHIPPING]
        return {"cost": self.money(sum(cost, Decimal(0))), "row": self._row(row, order)}

    def _row(self, row: ShippingRow, order: PlacedOrder) -> str:
        """The row of the table as its owner wrote it."""
        code = order.terms.shop.currency or self.plan.currency
        told = [f"free from {Money(row.free_from, code)}"] if row.free_from else []
        told += [f"up to {number_text(row.up_to_g)} g"] if row.up_to_g else []
        told += [f"up to {Money(row.up_to, code)}"] if row.up_to else []
        told += [f"with {', '.join(row.classes)}"] if row.classes else []
        told += [f"without {', '.join(row.not_classes)}"] if row.not_classes else []
        told += [f"{row.days} days"] if row.days else []
        where = "everywhere else" if row.to == "*" else row.to
        return ", ".join([f"to {where}: {Money(row.fee, code)}", *told])

    def _at_border(self, order: PlacedOrder) -> dict[str, Decimal]:
        """Duty, tax and handling as they are asked for there, the goods' own tax included."""
        border, charges = order.terms.border, order.landed.charges
        if border is None or order.landed.unknown:
            return {}
        named = {c.name: c.cost for c in charges}
        net = sum((b.good.at_border(b.steps) for b in order.buys), Fraction(0))
        step = Fraction(quantum(self.plan.currency))
        held = to_cents(net * step * Fraction(border.tax or 0) / 100, self.plan.currency)
        nothing = to_cents(Fraction(0), self.plan.currency)
        return {
            "duty": named.get(words.DUTY, nothing),
            "tax": named.get(words.IMPORT_TAX, nothing) + held,
            "handling": named.get(words.CLEARANCE, nothing),
        }

    def _import(self, order: PlacedOrder, parts: Mapping[str, Decimal]) -> dict[str, Any]:
        border = order.terms.border
        if border is None:
            return {}
        return {
            **{name: self.money(cost) for name, cost in parts.items()},
            "total": self.money(sum(parts.values(), Decimal(0))) if parts else None,
            "rule": border.source,
            "since": border.start.isoformat(),
            "checked": border.checked.isoformat(),
            "limit": f"{border.up_to} {border.currency}" if border.up_to is not None else None,
            "estimate": texts.IMPORT.format(
                day=self.market.view.at.date(),
                start=border.start,
                checked=border.checked,
                source=border.source,
            ),
        }

    def _booking(self, order: PlacedOrder, at_border: Mapping[str, Decimal]) -> dict[str, Any]:
        """What books it once it is placed: its lines, what the shop asks beside, what is late."""
        late = (words.DUTY, words.IMPORT_TAX, words.CLEARANCE)
        asked = [c.cost for c in order.landed.charges if c.name not in late]
        sums = {"shipping": sum(asked, Decimal(0)), "estimate": sum(at_border.values())}
        return {
            "lines": [f"{number_text(b.units)} x {b.good.listing.key}" for b in order.buys],
            **{
                name: f"{self.money(Decimal(cost))} {self.plan.currency}" if cost else None
                for name, cost in sums.items()
            },
        }


def command_of(booking: Mapping[str, Any]) -> str:
    """The command that books an order."""
    told = [f'--{x} "{booking[x]}"' for x in ("shipping", "estimate") if booking[x]]
    return " ".join(["ebbmark order place", *(f'"{line}"' for line in booking["lines"]), *told])
