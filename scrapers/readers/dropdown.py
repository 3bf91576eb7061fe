"""The page's own drop-down list in which every choice names its whole price."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Choice
from scrapers.readers.choicetext import priced_choice
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.texts import read_availability

MAX_LISTS = 40
MAX_OPTIONS = 120
_BESIDE = re.compile(
    r"ship|deliver|versand|liefer|livraison|carrier|country|\bland\b|zone|gift|warrant|garant|"
    r"insur|service|donat|\btip\b|sort|currency|instal",
    re.IGNORECASE,
)
_OUT = (Availability.OUT_OF_STOCK, Availability.DISCONTINUED)


class Choices(NamedTuple):
    """What the list offers. `chosen`: the one that stands in its field before anyone clicks.

    `node`: the list.
    """

    all: tuple[Choice, ...] = ()
    chosen: Choice | None = None
    where: str = ""
    node: LexborNode | None = None


def read(doc: Doc, places: Places, locale: str | None, currency: str | None) -> Choices:
    """The one such list of the page's own matter; none where there are several."""
    found = list(_lists(doc, places, locale, currency))
    return found[0] if len({one.all for one in found}) == 1 else Choices()


def _lists(doc: Doc, places: Places, locale: str | None, currency: str | None) -> Iterator[Choices]:
    for node in doc.selects[:MAX_LISTS]:
        made = _read(node, locale, currency) if _is_own(node, places) else Choices()
        if made.all:
            yield made


def _is_own(node: LexborNode, places: Places) -> bool:
    """In the page's own matter, and not named for carriage, a country or a service."""
    outer = node.parent
    if outer is None or places.of(outer).zone in ("other", "hidden"):
        return False
    named = " ".join(node.attributes.get(name) or "" for name in ("name", "id", "class"))
    return _BESIDE.search(named) is None


def _read(node: LexborNode, locale: str | None, currency: str | None) -> Choices:
    """The choices of a list in which each but a prompt at the top and what is gone has a price."""
    options = node.css("option")[: MAX_OPTIONS + 1]
    if not 1 < len(options) <= MAX_OPTIONS:
        return Choices()
    made = [_choice(option, locale, currency) for option in options]
    priced = tuple(one for one in made if one is not None)
    if len(priced) < 2 or any(_is_else(*one) for one in zip(options[1:], made[1:], strict=True)):
        return Choices()
    return Choices(priced, _chosen(options, made), where(node), node)


def _is_else(option: LexborNode, made: Choice | None) -> bool:
    """Whether an option is neither a priced choice nor one that is gone."""
    return made is None and read_availability(squeeze(option.text())) not in _OUT


def _choice(option: LexborNode, locale: str | None, currency: str | None) -> Choice | None:
    made = priced_choice(squeeze(option.text()), locale, currency)
    if made is None or "disabled" not in option.attributes or made.availability in _OUT:
        return made
    return replace(made, availability=Availability.OUT_OF_STOCK)


def _chosen(options: list[LexborNode], made: list[Choice | None]) -> Choice | None:
    """As browsers do: the last one that is marked, else the first that can be chosen (HTML)."""
    marked = [n for n, option in enumerate(options) if "selected" in option.attributes]
    able = [n for n, option in enumerate(options) if "disabled" not in option.attributes]
    at = marked[-1] if marked else able[0] if able else 0
    return made[at]
