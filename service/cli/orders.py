"""Commands about orders: placed, arrived, wrong, cancelled, sent back, refunded, billed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import click

from service.cli.app import DONE, book, db_option, json_option, say_json

if TYPE_CHECKING:
    from service.flows.orders import Change
    from service.model.money import Money

BILLS = ("customs", "carrier", "fee", "postage")
Row = Mapping[str, Any]


@click.group("order")
def order_command() -> None:
    """Orders and what happens to them."""


def _answer(answer: Row, *, as_json: bool) -> int:
    if as_json:
        say_json(answer)
        return DONE
    from service.cli.show_workshop import show_order  # noqa: PLC0415  start-up time

    show_order(answer)
    return DONE


def _money(text: str | None) -> Money | None:
    from service.model.money import parse_money  # noqa: PLC0415  start-up time

    return None if text is None else parse_money(text)


@order_command.command("place")
@click.argument("lines", nargs=-1, required=True)
@click.option("--order", "key", help="The supplier's number of the order; one is given without it.")
@click.option("--from", "supplier", help="Key of the supplier.")
@click.option("--on", help="Day of the order; today without it.")
@click.option("--shipping", help='Delivery and the shop\'s fees, like "4.95 EUR".')
@click.option("--estimate", help="What tax, duty and fees are thought to come to later.")
@click.option("--debited", help="What left the account for the lines together.")
@click.option("--note", default="", help="A remark.")
@json_option
@db_option
def place_command(  # one option each
    lines: tuple[str, ...],
    key: str | None,
    supplier: str | None,
    on: str | None,
    *,
    as_json: bool,
    note: str,
    **sums: str | None,
) -> int:
    """Book an order of LINES, each like "2 x battery-4s @ 38.00 EUR".

    "= 76.00 EUR" gives the price of all of them; without a price it is the one known now.
    Instead of the part a listing can be named, also one of a set.
    """
    from service.flows.ordering import Terms, place, read_wanted  # noqa: PLC0415  start-up time

    money = {name: _money(text) for name, text in sums.items()}
    wanted = [read_wanted(line) for line in lines]
    with book() as deps:
        answer = place(deps, wanted, Terms(supplier, on, note=note, **money), key)
    return _answer(answer, as_json=as_json)


@order_command.command("list")
@click.option("--open", "only_open", is_flag=True, help="Only what is not all here.")
@json_option
@db_option
def list_command(*, only_open: bool, as_json: bool) -> int:
    """Every order with the state of its lines."""
    from service.flows.order_list import orders  # noqa: PLC0415  start-up time

    with book() as deps:
        found = orders(deps, only_open=only_open)
    if as_json:
        say_json(found)
        return DONE
    for one in found:
        _answer(one, as_json=False)
    if not found:
        click.echo("No orders.")
    return DONE


@order_command.command("show")
@click.argument("order")
@json_option
@db_option
def show_command(order: str, *, as_json: bool) -> int:
    """One order with its lines, bills and the estimate's error."""
    from service.flows import order_list  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = order_list.order(deps, order)
    return _answer(answer, as_json=as_json)


def _step(command: Callable[..., Any]) -> Callable[..., Any]:
    """Which units: all of the order, of a part, or some."""
    for option in (
        click.option("--note", default="", help="A remark."),
        click.option("--on", help="Day; today without it."),
        click.option("--count", help="How many units of sale; all without it."),
        click.argument("part", required=False),
        click.argument("order"),
    ):
        command = option(command)
    return command


def _change(part: str | None, count: str | None, on: str | None, note: str, **more: Any) -> Change:
    from service.errors import InputError  # noqa: PLC0415  start-up time
    from service.flows.orders import Change  # noqa: PLC0415  start-up time
    from service.model.money import parse_decimal  # noqa: PLC0415  start-up time

    number = None if count is None else parse_decimal(count, f'--count: "{count}" is not a number')
    if number is not None and number <= 0:
        raise InputError("--count must be more than 0")
    return Change(part, number, on, note=note, **more)


@order_command.command("arrive")
@_step
@json_option
@db_option
def arrive_command(order: str, *, as_json: bool, **step: Any) -> int:
    """What was on its way is here: all of ORDER, or of PART, or --count of it."""
    from service.flows import orders  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = orders.arrive(deps, order, _change(**step))
    return _answer(answer, as_json=as_json)


@order_command.command("wrong")
@_step
@json_option
@db_option
def wrong_command(order: str, *, as_json: bool, **step: Any) -> int:
    """It came wrong or broken; send it back or let it be replaced."""
    from service.flows import orders  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = orders.wrong(deps, order, _change(**step))
    return _answer(answer, as_json=as_json)


@order_command.command("cancel")
@_step
@json_option
@db_option
def cancel_command(order: str, *, as_json: bool, **step: Any) -> int:
    """What is on its way will not come and costs nothing."""
    from service.flows import orders  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = orders.cancel(deps, order, _change(**step))
    return _answer(answer, as_json=as_json)


@order_command.command("return")
@_step
@click.option("--postage", help="What sending it back cost.")
@click.option("--refund", help="What came back for it, where it is known.")
@json_option
@db_option
def return_command(
    order: str, *, as_json: bool, postage: str | None, refund: str | None, **step: Any
) -> int:
    """Send back: what came wrong first, else all that is here."""
    from service.flows import orders  # noqa: PLC0415  start-up time

    change = _change(**step, postage=_money(postage), money=_money(refund))
    with book() as deps:
        answer = orders.give_back(deps, order, change)
    return _answer(answer, as_json=as_json)


@order_command.command("refund")
@click.argument("order")
@click.argument("money")
@click.option("--part", help="For which part.")
@click.option("--on", help="Day; today without it.")
@click.option("--note", default="", help="A remark.")
@json_option
@db_option
def refund_command(
    order: str, money: str, part: str | None, on: str | None, note: str, *, as_json: bool
) -> int:
    """MONEY (like "38.00 EUR") came back for an order."""
    from service.flows import orders  # noqa: PLC0415  start-up time
    from service.model.money import parse_money  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = orders.refund(deps, order, parse_money(money), _change(part, None, on, note))
    return _answer(answer, as_json=as_json)


@order_command.command("bill")
@click.argument("order")
@click.argument("kind", type=click.Choice(BILLS))
@click.argument("cost")
@click.option("--on", help="Day of the bill; today without it.")
@click.option("--note", default="", help="A remark.")
@json_option
@db_option
def bill_command(
    order: str, kind: str, cost: str, on: str | None, note: str, *, as_json: bool
) -> int:
    """A bill for the whole order: customs, carrier and fees are shared over its lines by price."""
    from service.flows import orders  # noqa: PLC0415  start-up time
    from service.model.money import parse_money  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = orders.bill(deps, order, kind, parse_money(cost), on=on, note=note)  # type: ignore[arg-type]  # click lets only these kinds through
    return _answer(answer, as_json=as_json)
