"""The words around amounts: what they say about the amount before or after them.

Common practice of shops in English, German, French, Dutch, Italian, Spanish,
Polish, Czech, Swedish and Danish. Phrases are found word by word, so that a
text costs the same however many phrases are known.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Mark(StrEnum):
    """What a phrase says."""

    LIST = "list"
    USUAL = "usual"
    NOW = "now"
    FROM = "from"
    UPTO = "upto"
    SAVE = "save"
    OFF = "off"
    SHIP = "ship"
    PLUS = "plus"
    INSTALMENT = "instalment"
    UNIT = "unit"
    MEMBER = "member"
    PRIOR = "prior"
    PART = "part"
    DEPOSIT = "deposit"
    FREE = "free"
    ORDER = "order"
    TOTAL = "total"
    GROSS = "gross"
    NET = "net"
    COLON = ":"
    OPEN = "("
    CLOSE = ")"
    BREAK = ","
    PERCENT = "%"


_PHRASES: Final = {
    Mark.LIST: (
        "was|were|statt|anstatt|instead of|uvp|uvp des herstellers|u v p|unverb preisempf|rrp|r r p|srp|msrp|"
        "list|list price|listprice|retail|retail price|old price|original price|original|originally|"
        "original price was|before|previous|previously|previous price|prev|vorher|bisher|bisheriger preis|"
        "alter preis|alt|ehemals|ehemaliger preis|früher|np|neupreis|listenpreis|streichpreis|"
        "ursprünglich|ursprünglicher preis|"
        "au lieu de|prix conseillé|avant|ancien prix|prix barré|prix public|prix d'origine|"
        "adviesprijs|oud|oude prijs|oorspronkelijke prijs|was van|invece di|anziché|prezzo di listino|listino|prima|"
        "prezzo consigliato|prezzo precedente|era|antes|en lugar de|en vez de|pvp recomendado|pvpr|precio anterior|"
        "precio original|precio recomendado|zamiast|stara cena|poprzednia cena|cena katalogowa|przed|"
        "původně|původní cena|místo|předtím|před slevou|doporučená cena|dmoc|mooc|"
        "ordinarie|ord|ord pris|ordinarie pris|tidigare|tidigare pris|rek pris|rek|förr|före|vejl|vejl pris|"
        "vejledende pris|førpris|før|de antes|compare at|comp at|reg|rec retail|rec price|strike|"
        "price was|ursprungligt pris|pierwotna cena|cena przed|bis dahin"
    ),
    Mark.USUAL: (
        "regular price|regular|normal price|usual price|usually|normally|regulärer preis|normalpreis|"
        "regulär|normal|prix habituel|prix normal|normaal|normale prijs|prezzo normale|precio habitual|"
        "precio normal|cena regularna|regularna|cena normalna|běžná cena|běžně|normalpris|ordinær pris"
    ),
    Mark.NOW: (
        "now|now only|jetzt|jetzt nur|nur|nur noch|sale|sale price|special|special price|aktuell|heute|our price|"
        "your price|you pay|today|current price|current price is|angebot|angebotspreis|sonderpreis|aktionspreis|"
        "maintenant|prix promo|soldé|nu|voor|nu voor|actieprijs|ora|adesso|prezzo scontato|ahora|oferta|"
        "precio oferta|teraz|cena promocyjna|nyní|akční cena|nu kun|extrapris|kampanjpris|tilbud|deal price|"
        "neuer preis|ihr preis|unser preis|prix|only|seulement|slechts|solo|tylko|jen|endast|kun|price"
    ),
    Mark.FROM: (
        "from|ab|starting at|starting from|starts at|as low as|prices from|price from|from only|à partir de|"
        "a partir de|dès|à partir|vanaf|a partire da|da|desde|od|från|fra|alkaen|już od|již od|ab nur|"
        "beginning at|low as"
    ),
    Mark.UPTO: "up to|bis zu|jusqu'à|jusqu à|tot|fino a|hasta|do|až|upp till|op til|bis",
    Mark.SAVE: (
        "save|you save|saving|savings|sie sparen|sparen sie|du sparst|spare|sparen|ersparnis|économisez|économie|"
        "vous économisez|soit|bespaar|u bespaart|je bespaart|bespaar nu|uw voordeel|voordeel|ahorra|ahorras|ahorro|"
        "te ahorras|risparmi|risparmia|risparmio|oszczędzasz|oszczędź|oszczędność|ušetříte|ušetřete|spara|du sparar|"
        "spar|du sparer|besparelse"
    ),
    Mark.OFF: (
        "off|rabatt|rabat|korting|nachlass|gespart|discount|de réduction|de remise|réduction|remise|sconto|di sconto|"
        "descuento|de descuento|sleva|zniżki|taniej|günstiger|cheaper|cashback|gutschein|voucher|coupon|code|"
        "sparat|billiger|goedkoper|gutscheinwert|bon"
    ),
    Mark.SHIP: (
        "versand|versandkosten|versandkostenfrei|shipping|shipping costs|shipping cost|delivery|delivery cost|postage|p p|p&p|"
        "freight|porto|lieferung|liefergebühr|versandpauschale|frais de port|frais d'envoi|livraison|verzendkosten|"
        "verzending|bezorgkosten|bezorging|spedizione|spese di spedizione|consegna|envío|gastos de envío|dostawa|"
        "koszt dostawy|wysyłka|doprava|dopravné|poštovné|frakt|fragt|levering|leverans|port|handling|s h"
    ),
    Mark.PLUS: "+|plus|zzgl|zuzüglich|zuzügl|en sus|additional|exkl|excl|hors|surcharge|aufpreis|aufschlag|supplément",
    Mark.INSTALMENT: (
        "payments|payments of|payment of|instalments|installments|instalments of|installments of|instalment|installment|"
        "interest-free|interest free|monthly|per month|a month|monatlich|mtl|im monat|rate|raten|rates|monatsrate|"
        "monatsraten|ratenzahlung|finanzierung|finance|financing|mensualités|mensualité|mensuel|mois|fois|échéances|"
        "termijnen|termijn|per maand|maandelijks|p m|in rate|rate da|rate mensili|al mese|plazos|plazos de|cuotas|"
        "cuotas de|al mes|mensuales|parcelas|parcela|raty|rat|ratach|miesięcznie|splátky|splátek|měsíčně|delbetalning|"
        "delbetala|per månad|månaden|mån|afdrag|måned|om måneden|pr md|leasing|weekly|per week"
    ),
    Mark.UNIT: (
        "grundpreis|unit price|price per unit|prix unitaire|prix au kilo|prix au mètre|eenheidsprijs|prezzo unitario|"
        "precio unitario|cena jednostkowa|jämförpris|jmf pris|enhedspris|einzelpreis pro|entspricht|soit le"
    ),
    Mark.MEMBER: (
        "member|members|member price|members price|mitglieder|mitgliederpreis|mitglied|clubpreis|club price|club|"
        "with card|mit karte|vip|ledenprijs|prix membre|adhérent|prezzo soci|socios|klubbpris|medlemspris|"
        "reseller|händlerpreis|trade price|bei vorkasse|mit code|app price"
    ),
    Mark.PRIOR: (
        "niedrigster preis|lowest price|30-tage-bestpreis|tiefster preis|bestpreis der letzten|letzten|last 30 days|30 days|"
        "prix le plus bas|laagste prijs|prezzo più basso|precio más bajo|najniższa cena|nejnižší cena|"
        "lägsta pris|laveste pris|dernières"
    ),
    Mark.PART: (
        "davon|dont|waarvan|di cui|including|includes|inkl|incl|inc|inclus|includ|w tym|z toho|varav|heraf|thereof|"
        "enthält|enthalten|eingerechnet"
    ),
    Mark.DEPOSIT: (
        "pfand|deposit|anzahlung|consigne|statiegeld|ecotax|eco tax|éco-part|éco-participation|éco participation|"
        "eco-participation|ecopart|d'éco-participation|d'éco-part|d'écotaxe|écotaxe|recupel|bebat|recycling fee|ear|mwst-anteil|"
        "service fee|gebühr|fee|fees|kaucja|kauce|pant|zoll|duty|customs|acompte"
    ),
    Mark.FREE: (
        "free|kostenlos|kostenlose|kostenloser|gratis|gratuit|gratuite|offert|offerte|darmowa|zdarma|gratuita|fri|fritt|"
        "frei|versandkostenfrei|portofrei|inklusive|inkl|incl"
    ),
    Mark.ORDER: (
        "over|orders over|orders|mindestbestellwert|mindestbestell|minimum order|ab einem|bestellwert|einkaufswert|"
        "warenwert|dès|from|ab|vanaf|od|nad|od kwoty|spend|above|oltre|per ordini|a partir de|à partir de|desde|"
        "d'achat|commande|boven|över|over|superiori a|when you spend|sopra|bei|pour"
    ),
    Mark.TOTAL: "total|gesamt|gesamtpreis|summe|insgesamt|totaal|totale|razem|celkem|totalt|i alt|in total|barpreis|cash price",
    Mark.COLON: ":|=",
    Mark.OPEN: "(|[",
    Mark.CLOSE: ")|]",
    Mark.BREAK: ",|;|||/|·|•|.",
    Mark.PERCENT: "%",
}

_TAX: Final = frozenset(
    "vat mwst ust ustg mehrwertsteuer umsatzsteuer steuer steuern tax taxes taxe gst hst pst tva iva btw moms mva mwst. "
    "dph φπα kdv áfa alv tps steuersatz pdv pvn".split()
)
_WITH: Final = frozenset(
    "inkl incl inc inclusive inklusive including includes included with mit avec con met med z s vč včetně plus-incl "
    "enthält compris comprise toutes w tym incluye sis sisältää με".casefold().split()
)
_WITHOUT: Final = frozenset(
    "ex exc excl excluding exclusive exkl exklusive exkl. ohne without before sans hors senza sin zonder bez uten uden "
    "ekskl zzgl zuzüglich zuzügl plus + not utan netto net χωρίς excluded más mas tax-free".casefold().split()
)
_AFTER_WITH: Final = frozenset(
    "incl inkl included inclusa incluso inclusive compris comprise incluido incluida inbegriffen inclusief inkluderad "
    "enthalten inc incluse incluidos inclusi".split()
)
_AFTER_WITHOUT: Final = frozenset(
    "excl exkl excluded esclusa escluso exclu exclue exclus excluido excluida exclusief exc ex excluding esclusi "
    "excluded. exclusive".split()
)
_ALONE: Final = {
    "brutto": Mark.GROSS,
    "ttc": Mark.GROSS,
    "toutes": Mark.GROSS,
    "gross": Mark.GROSS,
    "bruto": Mark.GROSS,
    "税込": Mark.GROSS,
    "税込み": Mark.GROSS,
    "netto": Mark.NET,
    "ht": Mark.NET,
    "htva": Mark.NET,
    "nett": Mark.NET,
    "net": Mark.NET,
    "税抜": Mark.NET,
    "税別": Mark.NET,
}

_WORD: Final = re.compile(
    r"[^\W\d_]+(?:['-][^\W\d_]+)*(?:&p)?|30[- ](?:tage|days|dni|jours|dagen|giorni|días|dní|dagar|dage)[\w-]*"
    r"|\d+|[-+/=:()\[\],;|%&~·•]"
)
_DOTTED: Final = re.compile(r"(?<![^\W_])(?:[^\W\d_]\.\s?){2,}")


def _index() -> dict[str, list[tuple[tuple[str, ...], Mark]]]:
    """First word -> phrases that begin with it, the longest first."""
    index: dict[str, list[tuple[tuple[str, ...], Mark]]] = {}
    for mark, phrases in _PHRASES.items():
        for phrase in phrases.casefold().split("|"):
            words = tuple(phrase.split())
            if words:
                index.setdefault(words[0], []).append((words, mark))
    for rows in index.values():
        rows.sort(key=lambda row: -len(row[0]))
    return index


_INDEX: Final = _index()


@dataclass(frozen=True, slots=True)
class Said:
    """A phrase found between two amounts; `at` counts words from the gap's start."""

    marks: tuple[Mark, ...]
    at: int
    last: bool

    def has(self, *marks: Mark) -> bool:
        return any(mark in self.marks for mark in marks)


def split_words(gap: str) -> list[str]:
    """The words and signs of a gap, folded; "U.V.P." becomes "uvp"."""
    folded = gap.casefold()
    if "." in folded:
        folded = _DOTTED.sub(lambda found: re.sub(r"[.\s]", "", found[0]) + " ", folded)
    return _WORD.findall(folded)


def _tax(words: list[str], at: int) -> tuple[Mark, int] | None:
    """A tax note beginning at `at`: its mark and how many words it takes."""
    word = words[at]
    if word in _WITH or word in _WITHOUT:
        for reach in range(1, 7):
            if words[at + reach : at + reach + 1] and words[at + reach] in _TAX:
                return (Mark.GROSS if word in _WITH else Mark.NET), reach + 1
        return None
    if word in _TAX:
        return _tax_after(words, at)
    return None


def _tax_after(words: list[str], at: int) -> tuple[Mark, int] | None:
    following = [word for word in words[at + 1 : at + 4] if word not in "()%:"]
    if following and following[0] in {"no", "non", "not", "niet", "nicht"}:
        return Mark.NET, 3
    if following and following[0] in _AFTER_WITHOUT:
        return Mark.NET, 2
    if following and following[0] in _AFTER_WITH:
        return Mark.GROSS, 2
    return None


def _phrase(words: list[str], at: int) -> tuple[tuple[Mark, ...], int]:
    """Every mark of the longest phrase at `at`, and its length in words."""
    marks: list[Mark] = []
    length = 0
    for phrase, mark in _INDEX.get(words[at], ()):
        if len(phrase) < length:
            break
        if tuple(words[at : at + len(phrase)]) == phrase:
            marks.append(mark)
            length = len(phrase)
    return tuple(marks), length


def read_gap(gap: str) -> list[Said]:
    """What the text between two amounts (or before the first, after the last) says."""
    words = split_words(gap)
    said: list[Said] = []
    at = 0
    while at < len(words):
        tax = _tax(words, at)
        if tax is not None:
            said.append(Said((tax[0],), at, at + tax[1] >= len(words)))
            at += tax[1]
            continue
        marks, length = _phrase(words, at)
        if words[at] in _ALONE:
            marks, length = (_ALONE[words[at]],), 1
        if marks:
            said.append(Said(marks, at, at + length >= len(words)))
        at += max(1, length)
    return said
