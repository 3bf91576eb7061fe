"""Class and id words of an amount's element and its near ancestors that say what it is."""

from __future__ import annotations

import re

_I = re.IGNORECASE

LIST = re.compile(
    r"(?:^|[\s_-])(?:old|was|before|rrp|m?srp|compare|pbstrike|strike\w*|struck|crossed|orig(?:inal)?|previous|"
    r"regularprice|was-?price|old-?price|price-?old|price-?was|list-?price(?!s)|uvp|streich\w*|"
    r"pseudo|statt|barre|"
    r"ancien|line-?through|past)(?=$|[\s_-])|full[_-]?price|price[_-]{1,2}(?:full|origin)(?![a-z])|oldprice|listprice|wasprice|comparepri|"
    r"compare-at|compareat|gammel|gammal|(?:^|[\s_-])(?:oud|oude|stara|puvodni|ordinarie|ordinary|"
    r"forpris|vejl|mrp)(?=$|[\s_-]|pris|prijs|cena)|prix-?barr|"
    r"durchgestrichen|tachado|doorgestreept|s?barrato|przekre[sś]l|skreslon|genomstruk|overstreg|"
    r"riscado|pre[sš]krt|(?:consumer|market|origin|ori|del)[-_]?price|price[-_]?(?:ori|del)(?![a-z])|"
    r"strikethrough|crossed-?out|price_?-?type_?-?deleted|(?:^|[\s_-])deleted(?=$|[\s_-])|price-?standard|originalprice|priceold|pricewas|rrpprice|non-?(?:sale|discount)|"
    r"pricelist(?!s)|list-price-price|(?:^|\s)list(?=$|\s)|list-?price|price-?list(?!s)",
    _I,
)
REGULAR = re.compile(
    r"(?:^|[\s_-])(?:regular|normal|retail)(?:-?price)?(?=$|[\s_-])|regularprice|normalprice|"
    r"price__regular|price--regular",
    _I,
)
SAVED = re.compile(r"sav(?:e|ing)s?|ersparnis|you-save", _I)
SAVING = re.compile(
    r"sav(?:e|ing)|discount(?!ed)|spar(?:en|nis)|rabat|remise|korting|percent|badge|you-save|"
    r"economi",
    _I,
)
NET = re.compile(
    r"ex(?:cl?)?[-_]?(?:vat|tax|btw|mwst)|without-?tax|withouttax|netto|net-?price|price-?net|"
    r"pretax|price-tax(?!.*incl)|"
    r"price-excluding-tax|excludingtax|tax-?excl|(?:^|[\s_-])ht(?=$|[\s_-])",
    _I,
)
GROSS = re.compile(
    r"inc(?:l)?[-_]?(?:vat|tax|btw|mwst)|with-?tax(?!out)|brutto|gross|price-including-tax|"
    r"includingtax|tax-?incl|"
    r"(?:^|[\s_-])ttc(?=$|[\s_-])",
    _I,
)
UNIT = re.compile(
    r"unit-?price|price-{0,2}unit|price-?per|per-?unit|(?<!product)base-?price|reference-?price|price-?reference|"
    r"grundpreis|"
    r"purchase-?unit|unitprice|unit_price|(?<!product)baseprice|pangv",
    _I,
)
SHIPPING = re.compile(
    r"(?:^|[\s_-])ship(?=$|[\s_-])|shipping|delivery(?!-price-now)|versand|postage|livraison|verzend|freight|doprav|dostaw|"
    r"wysylk|spedizion|(?<![a-z])envios?(?![a-z])|(?<![a-z])frakt|(?<![a-z])fragt|toimitus|szallitas",
    _I,
)
INSTALMENT = re.compile(
    r"instal|payment|finance|monthly|raten|credit|leasing|splitit|pay-?later|payment-terms|abzahl|"
    r"bnpl",
    _I,
)
MEMBER = re.compile(r"member|loyal|club|subscri|vip|reward", _I)
TIER = re.compile(
    r"tier|bulk|volume|quantity-?(?:break|discount|price)|staffel|block-?price|graduated|"
    r"qty-?break|multibuy",
    _I,
)
LOWEST = re.compile(r"regulation|omnibus|lowest|lowest-?price|prior-?price|30-?day", _I)
ECO = re.compile(r"eco-?tax|ecotax|deposit|eco-?part|pfand", _I)
COUNT = re.compile(r"quantity|qty|count|stock|rating|review|sku|number", _I)
OTHER = re.compile(
    r"range-?(?:min|max|slider)|price-?filter|filter|slider|price-?alert|(?<![-_])alert|match|guarantee|history|"
    r"price-?drop|(?:tax|vat)-?amount",
    _I,
)
NOW = re.compile(
    r"(?<!text-)(?<!fill-)(?<!stroke-)current|final|special|(?<!whole)sale(?!s)|now(?!rap)|new(?!s)|our(?:-|_|price)|actual|offer-?price|promo|"
    r"buy-?price|sell|selling|"
    r"price--main|main-?price|product-?price(?!-\d+-x-)|price-?value|your-?price|price__last|aktuell|angebot|"
    r"reduced|to-?pay",
    _I,
)
