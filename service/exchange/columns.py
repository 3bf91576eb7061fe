"""Which column of a parts list holds what: headers in English and German as people write them."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from service.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

# Of several columns of a kind the one whose word stands first here counts.
_WORDS: Final = {
    "part": "part name, name, part, parts, description, component, material, article, "
    "name des teils, bezeichnung, benennung, teil, teile, bauteil, artikel, beschreibung, "
    "item, position",
    "key": "key, part key, part no, part number, part nr, id, no, number, pos, "
    "schluessel, teilenummer, teile-nr, artikelnummer, art-nr, artnr, art nr, nr, nummer, lfd nr",
    "amount": "amount, qty, quantity, count, needed, pcs, pieces, number needed, how many, "
    "menge, anzahl, stueck, stueckzahl, stk, bedarf, stck",
    "unit": "unit, units, uom, unit of measure, einheit, einheiten, me, mengeneinheit",
    "group": "group, category, section, assembly, area, subassembly, "
    "gruppe, baugruppe, kategorie, bereich, abschnitt",
    "note": "note, notes, remark, remarks, comment, comments, "
    "notiz, notizen, bemerkung, bemerkungen, anmerkung, kommentar, hinweis",
    "counts": "counts, counts as, zaehlt, zaehlt als",
    "supplier": "supplier, shop, vendor, seller, source, store, "
    "lieferant, haendler, bezugsquelle, anbieter, laden",
    "url": "url, link, web, website, page, web page, internet, webseite, seite, adresse",
    "sold_as": "sold as, pack size, package size, content, contents, "
    "verkauft als, inhalt, gebinde, packungsinhalt, ve, verpackungseinheit",
    "price": "price, unit price, price each, cost, cost each, each, total, sum, "
    "preis, einzelpreis, stueckpreis, kosten, gesamt, gesamtpreis, summe",
}
HEADERS: Final = {
    word.strip(): (kind, rank)
    for kind, words in _WORDS.items()
    for rank, word in enumerate(words.split(","))
}
LOOKED_AT: Final = 20  # rows from the top in which the header is looked for
_BRACKETS: Final = re.compile(r"[(\[](?P<unit>[^)\]]{1,12})[)\]]|\bin (?P<last>\S{1,6})$")


@dataclass(frozen=True, slots=True)
class Header:
    """Where the header stands (row from 0), the column of each kind, and the amount's unit."""

    row: int
    columns: Mapping[str, int]
    unit: str | None
    unused: tuple[str, ...]


def spelled(text: str) -> str:
    """Lower case with German umlauts in two letters."""
    for umlaut, letters in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss")):
        text = text.casefold().replace(umlaut, letters)
    return text


def folded(text: str) -> str:
    """Lower case, umlauts spelled out, punctuation gone: the form that headers compare in."""
    lower = spelled(unicodedata.normalize("NFKC", text))
    return " ".join(re.sub(r"[^\w-]+", " ", _BRACKETS.sub(" ", lower)).split())


def find_header(rows: Sequence[Sequence[str]], name: str) -> Header:
    """The row near the top that names the most columns. InputError says what it must name."""
    found = [_header(number, row) for number, row in enumerate(rows[:LOOKED_AT])]
    named = [one for one in found if {"part", "key"} & one.columns.keys()]
    best = max(named, key=lambda one: len(one.columns), default=None)
    if best is None or "amount" not in best.columns:
        lacking = "what the part is" if best is None else "how much is needed"
        raise InputError(
            f"{name}: no column says {lacking}; name the columns in the first row, "
            'such as Part, Amount, Unit, Group, Note (or "Teil", "Menge", "Einheit")'
        )
    return best


def _header(number: int, row: Sequence[str]) -> Header:
    columns: dict[str, int] = {}
    ranks: dict[str, int] = {}
    for place, cell in enumerate(row):
        kind, rank = HEADERS.get(folded(cell), ("", 0))
        if kind and rank < ranks.get(kind, 1000):
            columns[kind], ranks[kind] = place, rank
    used = set(columns.values())
    unused = tuple(c.strip() for n, c in enumerate(row) if n not in used and c.strip())
    return Header(number, columns, _unit(row, columns), unused)


def _unit(row: Sequence[str], columns: Mapping[str, int]) -> str | None:
    """`Amount (g)` and `Menge in mm` say the unit of the whole column."""
    found = _BRACKETS.search(row[columns["amount"]].casefold()) if "amount" in columns else None
    return (found["unit"] or found["last"]) if found else None
