"""From a visit to the price log, deals and notices, on a real store.

What each outcome may touch: docs/glossary.md, "outcome". RFC 9110 section 15.4.5: a 304 says
that the page is as it was.
"""

from __future__ import annotations

import asyncio
from datetime import timedelta
from decimal import Decimal

import pytest
from book_kit import CELLS, MOTOR, kit
from command import ebbmark
from shop_page import product_page

from scrapers import Outcome, Validators
from service.errors import StoreError
from service.flows import ask, doubts, edit
from service.flows.check import check
from service.flows.deliver import deliver_due
from service.flows.poll import poll_due, poll_these


@pytest.fixture
def book(tmp_path):
    with kit(tmp_path) as made:
        made.fetcher.pages = {MOTOR: product_page("35.00"), CELLS: product_page("40.00", sku="B")}
        yield made


def poll(book, *keys):
    ids = book.ids()
    chosen = [ids[key] for key in keys or (MOTOR, CELLS)]
    lines = []
    report = asyncio.run(poll_these(book.deps, chosen, on_line=lines.append))
    return report, {line.listing: line for line in lines}


def spells(book, key=MOTOR):
    with book.deps.store.read() as unit:
        return unit.log.spells([book.ids()[key]])


def test_first_poll_prices_the_build(book):
    report, _ = poll(book)
    assert report.as_json()["ok"] == 2
    assert report.as_json()["hosts"] == 2
    answer = ask.reprice(book.deps, "racer")
    # common practice: two for the price of one package cost half each
    assert answer["totals"]["share"] == "55.00"
    assert answer["totals"]["to_spend"] == "75.00"
    assert answer["totals"]["complete"] is True


def test_the_same_bytes_extend_the_spell(book):
    poll(book)
    book.clock.pass_(hours=6)
    _, lines = poll(book)
    assert lines[MOTOR].outcome is Outcome.UNCHANGED
    (spell,) = spells(book)
    assert spell.last_seen - spell.first_seen == timedelta(hours=6)
    assert spell.polls == 2


def test_a_304_extends_the_spell_and_validators_are_left_out_once_a_week(book):
    book.fetcher.etags = True
    poll(book, MOTOR)
    for _ in range(28):
        book.clock.pass_(hours=6)
        poll(book, MOTOR)
    sent = [request.validators != Validators() for request in book.fetcher.asked]
    assert sent[0] is False
    assert all(sent[1:28])
    assert sent[28] is False  # seven days after the first whole page
    assert len(spells(book)) == 1


@pytest.mark.parametrize(
    "outcome",
    [Outcome.UNREACHABLE, Outcome.THROTTLED, Outcome.BARRED, Outcome.BROKEN, Outcome.TOO_LARGE],
)
def test_a_failed_visit_leaves_the_price_log_alone(book, outcome):
    poll(book)
    before = spells(book)
    book.clock.pass_(hours=6)
    book.fetcher.fails = {MOTOR: (outcome, "because")}
    report, lines = poll(book, MOTOR)
    assert lines[MOTOR].reason == "because"
    assert report.failed
    assert spells(book) == before
    row = next(row for row in ask.listings(book.deps) if row["listing"] == MOTOR)
    assert (row["price"], row["outcome"]) == ("35.00", outcome.value)


def test_a_second_404_is_gone_and_closes_the_deal_silently(book):
    book.fetcher.pages[MOTOR] = product_page("29.00")
    poll(book)
    assert [deal["subject"] for deal in ask.deals(book.deps, only_open=True)][:1] == ["motor"]
    asyncio.run(deliver_due(book.deps))
    told = len(book.channel.sent)
    book.fetcher.fails = {MOTOR: (Outcome.UNREACHABLE, "missing")}
    outcomes = []
    for _ in range(2):
        book.clock.pass_(hours=6)
        outcomes.append(poll(book, MOTOR)[1][MOTOR].outcome)
    assert outcomes == [Outcome.UNREACHABLE, Outcome.GONE]
    assert [d["subject"] for d in ask.deals(book.deps, only_open=True)] == []
    closed = next(d for d in ask.deals(book.deps) if d["subject"] == "motor")
    assert closed["close_reason"] == "the page is gone"
    asyncio.run(deliver_due(book.deps))
    assert len(book.channel.sent) == told


def test_a_deal_opens_once_an_episode_and_its_notice_goes_once(book):
    poll(book)
    assert ask.deals(book.deps) == []
    for price, open_now in (("29.90", 1), ("29.90", 1), ("34.00", 0), ("28.00", 1)):
        book.clock.pass_(hours=6)
        book.fetcher.pages[MOTOR] = product_page(price, was="35.00")
        poll(book, MOTOR)
        open_deals = ask.deals(book.deps, only_open=True)
        assert len([d for d in open_deals if d["subject"] == "motor"]) == open_now
        asyncio.run(deliver_due(book.deps))
    motor = [notice for notice in book.channel.sent if notice.data["subject"] == "motor"]
    assert [notice.data["value"] for notice in motor] == ["29.90", "28.00"]
    assert len({notice.key for notice in motor}) == 2


def test_the_build_total_is_a_target_too(book):
    poll(book)
    book.clock.pass_(hours=6)
    book.fetcher.pages[MOTOR] = product_page("25.00", was="35.00")
    poll(book, MOTOR)
    deal = next(d for d in ask.deals(book.deps, only_open=True) if d["kind"] == "build")
    assert (deal["price"], deal["subject"]) == ("45.00", "racer")


def test_an_absurd_fall_is_kept_aside_and_never_a_deal(book):
    poll(book)
    book.clock.pass_(hours=6)
    book.fetcher.pages[MOTOR] = product_page("3.50")  # a slipped decimal point
    _, lines = poll(book, MOTOR)
    assert lines[MOTOR].outcome is Outcome.DOUBTFUL
    assert ask.deals(book.deps) == []
    assert len(spells(book)) == 1
    answer = ask.reprice(book.deps, "racer")
    motor = next(line for line in answer["lines"] if line["part"] == "motor")
    assert motor["status"] == "doubtful"
    with book.deps.store.read() as unit:
        state = unit.polls.states([book.ids()[MOTOR]])[book.ids()[MOTOR]]
    assert state.next_due_at - book.clock() <= timedelta(minutes=15)


def test_a_user_may_accept_what_was_kept_aside(book):
    poll(book)
    book.clock.pass_(hours=6)
    book.fetcher.pages[MOTOR] = product_page("3.50")
    poll(book, MOTOR)
    doubts.accept(book.deps, MOTOR)
    assert [spell.offer.price for spell in spells(book)] == [Decimal("35.00"), Decimal("3.50")]
    assert any(d["subject"] == "motor" for d in ask.deals(book.deps, only_open=True))


def test_full_readings_that_agree_settle_a_doubt(book):
    poll(book)
    book.fetcher.pages[MOTOR] = product_page("17.00")
    outcomes = []
    for _ in range(4):
        book.clock.pass_(minutes=20)
        outcomes.append(poll(book, MOTOR)[1][MOTOR].outcome)
    assert outcomes[0] is Outcome.DOUBTFUL
    assert Outcome.OK in outcomes
    assert spells(book)[-1].offer.price == Decimal("17.00")


def test_a_power_of_ten_is_believed_after_a_day_and_not_before(book):
    """A page whose cents are read as units is misread at every visit (common practice)."""
    poll(book)
    book.fetcher.pages[MOTOR] = product_page("3500.00")
    outcomes = []
    for minutes in (15, 15, 30, 60, 240, 360, 360):
        book.clock.pass_(minutes=minutes)
        outcomes.append(poll(book, MOTOR)[1][MOTOR].outcome)
    assert set(outcomes) == {Outcome.DOUBTFUL}
    problem = next(row for row in check(book.deps) if "doubtful" in row["problem"])
    assert "100 times 35.00" in problem["problem"]
    assert "24 hours" in problem["problem"]
    assert "ebbmark accept" in problem["do"]
    book.clock.pass_(hours=6)
    assert poll(book, MOTOR)[1][MOTOR].outcome is Outcome.DOUBTFUL  # 23 h 45 min
    book.clock.pass_(minutes=15)
    assert poll(book, MOTOR)[1][MOTOR].outcome is Outcome.OK
    assert spells(book)[-1].offer.price == Decimal("3500.00")
    with book.deps.store.read() as unit:
        assert unit.log.doubts() == []


def test_an_open_deal_names_what_its_page_says_and_is_not_believed(book):
    """Glossary, "deal": met by a price that can be trusted, here the last one that was."""
    book.fetcher.pages[MOTOR] = product_page("29.00")
    poll(book)
    assert next(d for d in ask.deals(book.deps) if d["subject"] == "motor")["doubt"] is None
    book.clock.pass_(hours=6)
    book.fetcher.pages[MOTOR] = product_page("290.00")
    poll(book, MOTOR)
    deal = next(d for d in ask.deals(book.deps, only_open=True) if d["subject"] == "motor")
    assert (deal["price"], deal["doubt"]["price"]) == ("29.00", "290.00")
    assert "10 times 29.00" in deal["doubt"]["reason"]
    out = ebbmark("deals", "--db", book.deps.store.url).out
    assert "held back since: 290.00 EUR (290.00 is exactly 10 times 29.00" in out
    doubts.accept(book.deps, MOTOR)
    closed = next(d for d in ask.deals(book.deps) if d["subject"] == "motor")
    assert (closed["state"], closed["doubt"]) == ("closed", None)


def test_reject_drops_the_reading(book):
    poll(book)
    book.clock.pass_(hours=6)
    book.fetcher.pages[MOTOR] = product_page("3.50")
    poll(book, MOTOR)
    doubts.reject(book.deps, MOTOR)
    with book.deps.store.read() as unit:
        assert unit.log.doubts() == []


def test_what_is_due_is_polled_and_then_no_longer_due(book):
    book.clock.pass_(hours=7)
    report = asyncio.run(poll_due(book.deps))
    assert report.as_json()["ok"] == 2
    again = asyncio.run(poll_due(book.deps))
    assert again.as_json()["hosts"] == 0


def test_a_host_that_another_holds_is_left_to_it(book):
    with book.deps.store.write() as unit:
        lease = unit.polls.claim(
            "motors.example", "elsewhere:1:1", book.clock(), timedelta(minutes=2)
        )
    assert lease is not None
    ids = book.ids()
    report = asyncio.run(poll_these(book.deps, [ids[MOTOR], ids[CELLS]], patience=0.3))
    assert report.waiting == {"motors.example": "another worker visits this host"}
    assert report.as_json()["ok"] == 1


def test_a_price_by_hand_counts_and_ages(book):
    edit.book_price(book.deps, "glue", edit_money("5.60 EUR"), "cells", sold_as="20 g")
    row = next(r for r in ask.listings(book.deps) if r["listing"] == "cells/glue")
    assert (row["price"], row["url"], row["next_due_at"]) == ("5.60", None, None)


def edit_money(text):
    from service.model.money import parse_money

    return parse_money(text)


def test_a_store_that_fails_ends_the_pass_and_hangs_nothing(book, monkeypatch):
    def full(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr("service.flows.writer.keep_batch", full)
    with pytest.raises(StoreError, match="disk is full"):
        poll(book)
    monkeypatch.undo()
    assert poll(book)[0].as_json()["ok"] == 2  # the leases were given back
