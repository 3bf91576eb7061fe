"""Notices: at least once outside, one stable key, one failing channel holds up no other.

common practice of alerting: mark after sending, so that a crash repeats and never loses.
RFC 2104 (HMAC); the Idempotency-Key header field is an IETF draft.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import json
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import httpx
import pytest
from book_kit import CELLS, MOTOR, kit
from fakes import NOON, RecordingChannel
from shop_page import product_page

from scrapers import Policy, guarded_transport
from service.channels.ecb import latest_rates, parse
from service.channels.mail import message
from service.channels.webhook import WebhookChannel
from service.errors import DeliveryError
from service.flows.check import check
from service.flows.deliver import GIVE_UP_AFTER, HOLD, deliver_due, wait_after
from service.flows.poll import poll_these
from service.flows.upkeep import upkeep
from service.model.deals import Notice


@pytest.fixture
def book(tmp_path):
    with kit(tmp_path) as made:
        made.fetcher.pages = {MOTOR: product_page("35.00"), CELLS: product_page("90.00", sku="B")}
        ids = made.ids()
        asyncio.run(poll_these(made.deps, [ids[MOTOR], ids[CELLS]]))
        made.clock.pass_(hours=6)
        made.fetcher.pages[MOTOR] = product_page("29.00", was="35.00")
        yield made


def two_channels(book):
    bad = RecordingChannel("bad", failing=True)
    book.deps = replace(book.deps, channels={"log": book.channel, "bad": bad})
    return bad


def find_deal(book):
    asyncio.run(poll_these(book.deps, [book.ids()[MOTOR]]))


def deliver(book):
    return asyncio.run(deliver_due(book.deps))


def test_each_channel_on_its_own(book):
    bad = two_channels(book)
    find_deal(book)
    first = deliver(book)
    assert (first.sent, first.failed) == (1, 1)
    assert deliver(book).sent == 0  # the failing one waits, the good one is done
    book.clock.pass_(minutes=2)
    bad.failing = False
    assert deliver(book).sent == 1
    assert len(book.channel.sent) == len(bad.sent) == 1
    assert book.channel.sent[0].key != bad.sent[0].key


def test_who_dies_between_sending_and_marking_repeats_under_the_same_key(book, monkeypatch):
    find_deal(book)
    monkeypatch.setattr("service.flows.deliver._sent", lambda *_: None)  # killed before the mark
    deliver(book)
    monkeypatch.undo()
    assert deliver(book).sent == 0  # its lease still stands
    book.clock.pass_(seconds=HOLD.total_seconds() + 1)
    assert deliver(book).sent == 1
    first, second = book.channel.sent
    assert first.key == second.key


def test_a_final_refusal_is_given_up_and_shown(book):
    bad = two_channels(book)
    bad.final = True
    find_deal(book)
    assert deliver(book).given_up == 1
    with book.deps.store.read() as unit:
        states = {row["channel"]: row["state"] for row in unit.outbox.rows()}
    assert states["bad"] == "undelivered"


def test_trying_ends_after_days_not_hours():
    total = sum((wait_after(n) for n in range(GIVE_UP_AFTER)), timedelta())
    assert timedelta(days=2) < total < timedelta(days=7)
    assert wait_after(0) == timedelta(minutes=1)


NOTICE = Notice("t@1:hook", "hook", "Motor: 29.00 EUR", "text", {"deal": "t@1"}, NOON)


def send(httpserver, status, *, secret=None):
    httpserver.expect_request("/hook", method="POST").respond_with_data("", status=status)
    policy = Policy(allow_hosts=frozenset({"127.0.0.1"}))
    channel = WebhookChannel(
        "hook", httpserver.url_for("/hook").replace("localhost", "127.0.0.1"),
        guarded_transport(policy), secret,
    )  # fmt: skip
    asyncio.run(channel.send(NOTICE))
    request, _ = httpserver.log[-1]
    return request


def test_a_webhook_carries_key_and_signature(httpserver):
    request = send(httpserver, 204, secret="s3cret")
    body = request.get_data()
    assert request.headers["Idempotency-Key"] == NOTICE.key
    assert json.loads(body)["key"] == NOTICE.key
    expected = hmac.new(b"s3cret", body, hashlib.sha256).hexdigest()
    assert request.headers["X-Ebbmark-Signature"] == f"sha256={expected}"


@pytest.mark.parametrize(
    ("status", "again"), [(500, True), (429, True), (404, False), (410, False)]
)
def test_a_webhook_says_whether_to_try_again(httpserver, status, again):
    with pytest.raises(DeliveryError) as error:
        send(httpserver, status)
    assert error.value.retry is again


@pytest.mark.parametrize("url", ["http://127.0.0.1:9/x", "http://169.254.169.254/latest/"])
def test_a_webhook_goes_through_the_guard(url):
    channel = WebhookChannel("hook", url, guarded_transport(Policy()))
    with pytest.raises(DeliveryError):
        asyncio.run(channel.send(NOTICE))


def test_a_hostile_title_adds_no_header_line():
    hostile = replace(NOTICE, subject="Motor\r\nBcc: all@shop.example\r\n\r\nx")
    mail = message(hostile, {"sender": "a@b.example", "to": "c@d.example"})
    assert mail["Bcc"] is None
    assert "\n" not in mail["Subject"]
    assert (
        mail["Message-ID"]
        == message(NOTICE, {"sender": "a@b.example", "to": "c@d.example"})["Message-ID"]
    )


# The form of the bank's daily file; values of 2024-06-03 (European Central Bank, published history).
DAILY = b"""<?xml version="1.0" encoding="UTF-8"?>
<gesmes:Envelope xmlns:gesmes="http://www.gesmes.org/xml/2002-08-01" xmlns="http://www.ecb.int/vocabulary/2002-08-01/eurofxref">
<Cube><Cube time='2026-11-24'><Cube currency='JPY' rate='170.09'/><Cube currency='PLN' rate='4.2815'/></Cube></Cube>
</gesmes:Envelope>"""


def test_the_banks_daily_file():
    rows = parse(DAILY)
    assert [(str(day), code, rate) for day, code, rate in rows] == [
        ("2026-11-24", "JPY", "170.09"),
        ("2026-11-24", "PLN", "4.2815"),
    ]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"<html>not found</html>",
        DAILY.replace(b"4.2815", b"zero"),
        DAILY.replace(b"170.09", b"-1"),
        b'<!DOCTYPE x [<!ENTITY a "b">]><x>&a;</x>',
    ],
)
def test_another_file_is_no_rate(body):
    with pytest.raises((DeliveryError, ValueError)) as error:
        parse(body)
    assert isinstance(error.value, DeliveryError)


def test_newer_rates_join_the_table_once_a_day(book, httpserver):
    httpserver.expect_request("/daily.xml").respond_with_data(DAILY, content_type="text/xml")
    policy = Policy(allow_hosts=frozenset({"127.0.0.1"}))
    url = httpserver.url_for("/daily.xml").replace("localhost", "127.0.0.1")
    deps = replace(book.deps, latest_rates=latest_rates(guarded_transport(policy), url))
    assert asyncio.run(upkeep(deps)).new_rates == 2
    assert asyncio.run(upkeep(deps)).new_rates == 0
    assert len(httpserver.log) == 1
    with deps.store.read() as unit:
        assert unit.rates.rates(NOON.date()).by_currency["PLN"].value == Decimal("4.2815")


def test_no_rates_is_no_harm(book, httpserver):
    httpserver.expect_request("/daily.xml").respond_with_data("", status=503)
    policy = Policy(allow_hosts=frozenset({"127.0.0.1"}))
    url = httpserver.url_for("/daily.xml").replace("localhost", "127.0.0.1")
    deps = replace(book.deps, latest_rates=latest_rates(guarded_transport(policy), url))
    done = asyncio.run(upkeep(deps))
    assert done.new_rates == 0
    assert "503" in (done.rates_error or "")


def test_httpx_is_the_pinned_line():
    """The transport is our own; httpx 0.28 is the line it was tried on."""
    assert httpx.__version__.startswith("0.28.")


def test_what_was_given_up_is_named_by_check(book):
    bad = two_channels(book)
    bad.final = True
    find_deal(book)
    deliver(book)
    assert any("undelivered: down" in one["problem"] for one in check(book.deps))
