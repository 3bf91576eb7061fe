"""Times in headers: RFC 9110 (dates, Retry-After), RFC 6585 (429), RFC 9111 (freshness)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest
from fetch_lab import NOW
from hypothesis import given
from hypothesis import strategies as st

from scrapers.headers import (
    LONGEST_WAIT,
    current_age,
    freshness_lifetime,
    http_date,
    is_fresh,
    retry_after,
    server_clock,
)

# No table of RFC 9110 section 8.8.3.2 (comparing entity tags) is checked here: the server
# compares, for If-None-Match weakly (section 13.1.2). Ours are sent back as they came, `W/` and
# all (`test_hostile.py` holds the bytes), and without a 304 only equal bytes count as unchanged.

EVE = datetime(1999, 12, 31, 23, 58, 59, tzinfo=UTC)


@pytest.mark.parametrize(
    ("value", "now", "seconds"),
    [
        ("120", NOW, 120),  # RFC 9110 10.2.3, its example
        ("Fri, 31 Dec 1999 23:59:59 GMT", EVE, 60),  # its example date
        ("3600", NOW, 3600),  # RFC 6585 section 4, its example
        ("Fri, 31 Dec 1999 23:59:59 GMT", EVE + timedelta(seconds=70), 0),  # past: no wait
        ("Friday, 31-Dec-99 23:59:59 GMT", EVE, 60),  # RFC 9110 5.6.7: all three forms
        ("Fri Dec 31 23:59:59 1999", EVE, 60),
        ("-5", NOW, None),  # delay-seconds = 1*DIGIT
        ("1.5", NOW, None),
        ("0", NOW, 0),
        ("", NOW, None),
        (None, NOW, None),
        ("1e9", NOW, None),
        ("1000000000", NOW, LONGEST_WAIT),
        ("99999999999", NOW, LONGEST_WAIT),
        ("Fri, 31 Dec 9999 23:59:59 GMT", NOW, LONGEST_WAIT),
        ("soon", NOW, None),
        ("60, 120", NOW, None),
        ("\u0663\u0660", NOW, None),  # int() would take these digits
        ("1_000", NOW, None),  # and this
        ("Fri, 31 Dec 1999 23:59:59", EVE, None),  # no zone: own back-off
        ("Fri, 31 Feb 1999 23:59:59 GMT", EVE, None),
        ("Fri, 31 Xyz 1999 23:59:59 GMT", EVE, None),
        (" 7 ", NOW, 7),
    ],
)
def test_retry_after(value: str | None, now: datetime, seconds: float | None) -> None:
    assert retry_after(value, now) == seconds


def test_a_two_digit_year_more_than_50_years_ahead_is_past() -> None:
    """RFC 9110 section 5.6.7."""
    assert http_date("Sunday, 06-Nov-94 08:49:37 GMT", NOW) == datetime(
        1994, 11, 6, 8, 49, 37, tzinfo=UTC
    )
    found = http_date("Sunday, 06-Nov-76 08:49:37 GMT", NOW)
    assert found is not None
    assert found.year == 2076


@given(st.datetimes(datetime(1970, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_dates_agree_with_the_standard_library(when: datetime) -> None:
    whole = when.replace(microsecond=0)
    assert http_date(format_datetime(whole, usegmt=True), NOW) == whole


@given(st.text(max_size=60))
def test_no_text_is_too_odd(text: str) -> None:
    found = retry_after(text, NOW)
    assert found is None or 0 <= found <= LONGEST_WAIT


@pytest.mark.parametrize(
    ("shared", "headers", "lifetime"),
    [
        # RFC 9111 section 4.2.1: s-maxage is for shared caches only
        (False, {"cache-control": "max-age=600, s-maxage=60"}, 600),
        (True, {"cache-control": "max-age=600, s-maxage=60"}, 60),
        (
            False,
            {
                "date": "Sun, 06 Nov 1994 08:49:37 GMT",
                "expires": "Sun, 06 Nov 1994 08:59:37 GMT",
            },
            600,
        ),
        # section 4.2.2: a tenth of the time since Last-Modified is typical
        (
            False,
            {
                "date": "Wed, 16 Nov 1994 08:49:37 GMT",
                "last-modified": "Sun, 06 Nov 1994 08:49:37 GMT",
            },
            86400,
        ),
        (False, {"expires": "-1"}, 0),  # section 5.3: an invalid date is in the past
        (False, {}, None),
    ],
)
def test_freshness_lifetime(shared: bool, headers: dict[str, str], lifetime: float | None) -> None:
    assert freshness_lifetime(headers, NOW, shared=shared) == lifetime


def test_age_is_counted_from_the_older_of_two_signs() -> None:
    """RFC 9111 section 4.2.3: apparent age 102, corrected 122, 300 s later 422."""
    age = current_age(age_value=120, date_value=-100, request_time=0, response_time=2, now=302)
    assert age == 422
    assert is_fresh(600, age)
    assert not is_fresh(600, 600)  # section 4.2: longer, not as long


@pytest.mark.parametrize(
    ("headers", "clock"),
    [
        ({"date": "Tue, 24 Nov 2026 12:00:00 GMT"}, NOW),
        ({"date": "Tue, 24 Nov 2026 11:00:00 GMT", "age": "3600"}, NOW),  # out of a cache
        ({"date": "Tue, 24 Nov 2026 12:00:00 GMT", "age": "-5"}, NOW),
        ({"date": "Tue, 24 Nov 2026 12:00:00 GMT", "age": "9" * 20}, NOW + timedelta(days=365)),
        ({"age": "60"}, None),
    ],
)
def test_what_a_hosts_clock_shows(headers: dict[str, str], clock: datetime | None) -> None:
    """RFC 9111 section 4.2.3: a stored answer bears the Date of its making, and its Age."""
    assert server_clock(headers, NOW) == clock
