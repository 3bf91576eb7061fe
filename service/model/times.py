"""Times as text."""

from __future__ import annotations

from datetime import UTC, datetime


def time_text(at: datetime) -> str:
    """ISO 8601 in UTC to the second, with Z."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
