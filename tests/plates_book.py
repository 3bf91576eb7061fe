"""A catalogue with a plate that counts whole and hinges in pairs, for commands and pages."""

from __future__ import annotations

BOOK = """
[supplier.dunnock]
name = "Dunnock Sheets"
home = "https://dunnock.example/"
country = "NL"
currency = "EUR"
shipping = [{ to = "*", fee = "0" }]
[supplier.pipit]
name = "Pipit Wood"
home = "https://pipit.example/"
country = "NL"
currency = "EUR"
shipping = [{ to = "*", fee = "0" }]
[part.ply]
name = "Plywood 3 mm"
unit = "m2"
[part.hinge]
name = "Hinge"
unit = "pair"
[build.wren]
name = "Wren"
currency = "EUR"
lines = [
  { part = "ply", amount = "0.2 m2", group = "structure", counts = "whole" },
  { part = "hinge", amount = "3 pairs", group = "structure" },
]
[[target]]
build = "wren"
at_or_below = "12.00 EUR"
"""
