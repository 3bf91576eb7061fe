"""The words of a notice. Pure: what to say, never how it travels."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from service.model.deals import Deal, Notice, Target, condition_text
from service.model.money import money_text


def notice_key(deal: Deal, channel: str, tell: str) -> str:
    """The same at every try, and at every restart: deal, episode and channel."""
    again = "" if tell == "opened" else ":again"
    return f"{deal.key}:{channel}{again}"


def compose(
    deal: Deal, target: Target, *, channel: str, tell: str, name: str, at: datetime
) -> Notice:
    """The notice about `deal` for one channel. `name`: how people call the subject."""
    price = str(deal.value) if deal.value else "available"
    subject = f"{name}: {price} ({condition_text(target)})"
    return Notice(
        key=notice_key(deal, channel, tell),
        channel=channel,
        subject=subject,
        text=_text(deal, target, name, price),
        data=_data(deal, target, tell),
        created_at=at,
    )


def _text(deal: Deal, target: Target, name: str, price: str) -> str:
    lines = [f"{name} is now {price}: {condition_text(target)}."]
    if deal.listing:
        lines.append(f"Where: {deal.listing}")
    lines += [f'Seen as "{e["value"]}" at {e["where"]}' for e in deal.evidence if e.get("where")]
    return "\n".join(lines)


def _data(deal: Deal, target: Target, tell: str) -> dict[str, Any]:
    return {
        "deal": deal.key,
        "tell": tell,
        "kind": deal.kind,
        "subject": deal.subject,
        "listing": deal.listing,
        "value": money_text(deal.value.amount, deal.value.currency) if deal.value else None,
        "currency": deal.value.currency if deal.value else None,
        "condition": condition_text(target),
    }


def test_notice(channel: str, at: datetime) -> Notice:
    """What `ebbmark notify --test` sends."""
    text = "If you can read this, notices reach you over this channel."
    key = f"test:{channel}:{at.strftime('%Y%m%dT%H%M%SZ')}"
    return Notice(key, channel, "Ebbmark: a test", text, {"tell": "test"}, at)
