"""`[[target]]` and `[[purchase]]`: what the user waits for, and what was bought."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Final, Literal

from service.exchange.catalogue import values as v
from service.exchange.catalogue.diary import read_steps
from service.exchange.catalogue.draft import PurchaseDraft
from service.model.deals import CONDITIONS, Target
from service.model.money import Money, round_money

if TYPE_CHECKING:
    from collections.abc import Mapping

    from service.exchange.catalogue.table import Table

Kind = Literal["listing", "part", "need", "build"]
KINDS: Final[tuple[Kind, ...]] = ("listing", "part", "need", "build")
_HINT: Final = 'write such as at_or_below = "38.00 EUR"'


def need_text(need: Mapping[str, str]) -> str:
    """A requirement as one text, the same whatever its order: `capacity_mAh=3000.. cells=4`."""
    return " ".join(f"{name}={need[name]}" for name in sorted(need))


def target_key(target: Target) -> str:
    """Subject and condition without its value, so that a changed threshold stays one target."""
    for name in CONDITIONS:
        value = getattr(target, name)
        if value is not None and value is not False:
            named = f"{name}:{value}" if name == "within_budget" else name
            return f"{target.kind}:{target.subject}:{named}"
    return f"{target.kind}:{target.subject}"


def read_target(table: Table) -> Target:
    """One target, its subject not yet looked up."""
    kind = table.only_one(KINDS, 'write such as part = "KEY"')
    condition = table.only_one(CONDITIONS, _HINT)
    need = table.texts("need", v.need_value)
    subject = need_text(need) if kind == "need" else _subject(table, kind)
    found = table.maybe("unit_at_or_below", v.unit_price)
    price, per = found or (None, None)
    target = Target(
        key="",
        kind=next((known for known in KINDS if known == kind), "part"),
        subject=subject,
        at_or_below=table.maybe("at_or_below", v.money),
        unit_at_or_below=price,
        per=per,
        below_regular=table.maybe("below_regular", v.fraction),
        lowest_in=table.maybe("lowest_in", v.duration),
        back_in_stock=table.get("back_in_stock", v.flag, False),
        within_budget=_budget(table),
        need=need,
        until=table.maybe("until", v.day),
        hold=table.maybe("hold", v.duration),
        reopen_above=table.maybe("reopen_above", v.money),
        again_below=table.maybe("again_below", v.money),
    )
    _check_condition(table, target, condition)
    table.done()
    return replace(target, key=target_key(target))


def _subject(table: Table, kind: str | None) -> str:
    for name in ("listing", "part", "build"):
        value = table.maybe(name, v.words(2083))
        if name == kind and value is not None:
            return value
    return ""


def _budget(table: Table) -> Literal["to_spend", "delivered", "share"] | None:
    match table.get("within_budget", v.one_of("to_spend", "delivered", "share"), ""):
        case "to_spend":
            return "to_spend"
        case "delivered":
            return "delivered"
        case "share":
            return "share"
        case _:
            return None


def _check_condition(table: Table, target: Target, condition: str | None) -> None:
    if condition == "back_in_stock" and not target.back_in_stock:
        table.problem("is false, which says nothing; write true or leave it off", condition)
    if target.kind == "build" and condition in ("unit_at_or_below", "back_in_stock"):
        table.problem(f"a build has no such thing; {_HINT} or within_budget", condition)
    if target.kind != "build" and condition == "within_budget":
        table.problem(f"only a build has a budget; name build = KEY, or {_HINT}", condition)
    sums = (target.at_or_below, target.unit_at_or_below, target.reopen_above, target.again_below)
    if len({one.currency for one in sums if one is not None}) > 1:
        table.problem("mixes currencies; write all its prices in one")


def read_purchase(table: Table) -> PurchaseDraft:
    """One purchase as written; what one unit holds is looked up later."""
    table.only_one(("part", "set"), 'write such as part = "KEY"')
    table.only_one(("price", "total"), 'write such as price = "38.00 EUR" (for one)')
    count = table.need("count", v.positive, Decimal(1), "write how many were bought")
    total = table.maybe("total", v.sum_of_money)
    each = table.maybe("price", v.sum_of_money)
    if each is not None:
        total = Money(round_money(each.amount * count, each.currency), each.currency)
    draft = PurchaseDraft(
        part=table.maybe("part", v.key),
        set=table.maybe("set", v.words(2083)),
        supplier=table.maybe("supplier", v.key),
        count=count,
        total=total,
        debited=table.maybe("debited", v.sum_of_money),
        on=table.maybe("on", v.day),
        order=table.maybe("order", v.words(80)),
        condition=table.get("condition", v.words(80), "new"),
        sold_as=table.maybe("sold_as", v.amount),
        listing=table.maybe("listing", v.words(2083)),
        happened=read_steps(table),
        line=table.get("line", v.whole(1, 9999), 0),
    )
    table.done()
    return draft
