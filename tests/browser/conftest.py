"""Fixtures of the browser tests."""

from browser_kit import browser, shop

__all__ = ["browser", "shop"]
