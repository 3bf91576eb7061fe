"""Words beside an amount that say what it is; the trade's phrases in ten languages."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

from scrapers.readers.words import Words

LIST = Words(
    r"\b(?:was|were|before|rrp|m?s\.?r\.?p|srp|m\.?r\.?p|list price|recommended|"
    r"original(?:ly)?|"
    r"compare at|instead of|old price|previous(?:ly)? price|normally|usual(?:ly)? price|"
    r"statt|uvp|unverb\w*|listenpreis|alter preis|bisher\w*|vorher(?:ig\w+)?|fr[üu]her|ehemal\w*|"
    r"au lieu de|ancien prix|prix (?:conseill\w+|barr\w+|public|d'origine)|avant|"
    r"adviesprijs|oude prijs|van|prezzo (?:consigliato|originale|precedente)|"
    r"anzich[eé]|invece di|prima|pre(?:ci|[çc])o (?:anterior|original|recomendado)|antes|pvpr|"
    r"cena (?:katalogowa|przed\w*|poprzednia)|poprzednia cena|zamiast|by[łl]o|"
    r"p[ůu]vodn[íi]|m[íi]sto|tidigare|"
    r"market price|"
    r"stara cena|star[áa] cena|sugerowana cena|cena sugerowana|doporu[čc]en\w+|odpor[úu][čc]an\w+|"
    r"suositushinta|ovh|ennen|eredeti [áa]r|r[ée]gi [áa]r|kor[áa]bbi [áa]r|listaár|prp|pvr|"
    r"rek\.? ?pris|f[øö]r(?:pris)?|vejl\.?(?: pris)?|veil\.?(?: pris)?|"
    r"старая цена|цена без скидки|вместо|ррц|стара ціна|замість|eski fiyat\w*|liste fiyat\w*|"
    r"gi[áa] (?:g[ốo]c|c[ũu]|ni[êe]m y[ếe]t)|harga (?:lama|asli)|αρχικ[ήη] τιμ[ήη])\b|"
    r"通常価格|定価|希望小売価格|参考価格|元の価格|原价|市场价|划线价|原價|市價|정가|소비자가",
)
REGULAR = Words(
    r"\b(?:basispreis|base price|prix de base|prezzo base|precio base|cena podstawowa|"
    r"z[áa]kladn[íi] cena|regular price|normal price|standard price|retail(?: price)?(?! store)|"
    r"normal(?:er )?preis|regul[äa]rer preis|"
    r"prix (?:normal|habituel)|"
    r"normale prijs|"
    r"prezzo (?:normale|di listino)|precio (?:normal|habitual)|pvp|vanlig pris|cena (?:regularna|"
    r"standardowa)|b[ěe][žz]n[áa] cena|b[ěe][žz]n[ěe]|be[žz]ne|"
    r"ordinarie(?: pris)?|norm(?![.:]?\s?[^\W\d_])|normaalihinta|"
    r"ord(?=\.?\s?\d)|ord\.? ?pris|normalpris)\b",
)
SAVING = Words(
    r"(?:\b(?:you save|save|saving|savings|saved|off|discount|sie sparen|du sparst|sparen|"
    r"ersparnis|"
    r"rabatt|reduziert um|[ée]conomi\w+|remise|r[ée]duction|bespaar|u bespaart|korting|voordeel|"
    r"risparmi\w*|sconto|ahorr\w+|descuento|oszcz[ęe]d\w+|rabat[ut]?|obni[żz]ka|u[šs]et[řr]\w+|sleva|"
    r"s[äa][äa]st[äa]\w*|megtakar[íi]t\w*|kedvezm[ée]ny\w*|poupa|poupe|desconto|u[šs]etr\w+|z[ľl]ava|"
    r"spar(?:a|ar|er)?|du sparar|sparad)\b|(?:^|\s)[-−]\s?\d+\s?%)|"
    r"割引(?!価格|後)|値引(?!後|き後)|引き(?!後)|お得|立减|立減|节省|節省|할인(?!판매가|가)",
)
NET = Words(
    r"\b(?:ex(?:cl?)?(?:uding|usive of|\.)?\.? ?(?:of )?(?:vat|tax(?:es)?|gst|btw|sales tax)|"
    r"(?:without|before|net of|plus|\+) ?(?:vat|tax|gst)|tax(?:es)? (?:extra|not included)|"
    r"netto(?:preis)?|net price|"
    r"(?:exkl|zzgl|excl|ohne)\.? ?(?:\d+(?:[.,]\d+)? ?% ?)?(?:mwst|ust|mehrwertsteuer|steuern|btw|"
    r"moms|tva)|"
    r"hors taxes?|h\.?t\.?(?!\w)|sans tva|excl\.?\s?\)|"
    r"exclu(?:sief|sive) (?:\d+ ?% ?)?btw|"
    r"tasse escl\w*|"
    r"tax(?:es)? excluded|(?:vat|gst|tax) (?:is )?(?:excluded|exclusive|not included)|"
    r"excludes? (?:vat|tax|gst)|impuestos? (?:no incluidos?|excluidos?)|tax(?:es)? non incluses?|"
    r"ekskl\.? ?mva|eks\.? ?mva|iva escl\w*|senza iva|\+ ?iva|sin iva|"
    r"alv ?0 ?%|ilman alv\w*|veroton|nett[óo](?: [áa]r)?|\+ ?[áa]fa|[áa]fa n[ée]lk[üu]l|sem iva|"
    r"(?:base )?imponibile|base imponible|iva non incl\w*|oltre iva|al netto d\S{1,4} ?iva|"
    r"prezzo netto|precio neto|sin impuestos|antes de impuestos|m[áa]s iva|"
    r"iva exclu\w*|iva n[ãa]o incl\w*|"
    r"s/ ?iva|acresce (?:o )?iva|pre[çc]o l[íi]quido|sem impostos|impostos n[ãa]o incl\w*|"
    r"ex(?:cl)?\.? ?iva|zonder btw|btw excl|excl(?:usief|\.)? belasting|bez podatku|"
    r"bez dan[ěe]|ex\.? ?moms|exklusive moms|exkl\.? ?skatt|eksklusive? (?:moms|mva)|"
    r"u\. ?moms|uten mva|eksl\.? ?mva|"
    r"ex\.? ?mva|eks(?:kl)?\.? ?avgift|ilman arvonlis|verottoma|ei sis\w*\.? ?alv|alv ei sis|"
    r"f[ăa]r[ăa] tva|tva neinclus|exclusiv tva|tva nu (?:este|e) inclus|"
    r"iva no incl\w*|bez (?:vat|dph)|exkl\.? ?moms|utan moms|ekskl\.? ?moms|uden moms)|税抜|税別",
)
GROSS = Words(
    r"\b(?:inc(?:l)?(?:uding|usive of|uded|\.)?\.? ?(?:of )?(?:\d+(?:[.,]\d+)? ?% ?)?(?:vat|"
    r"tax(?:es)?|gst|btw)|"
    r"(?:vat|tax(?:es)?|gst) (?:is |are )?inc(?:l(?:uded|uding|\.)?)?|with (?:vat|tax)|"
    r"includes? (?:all )?(?:\d+ ?% )?(?:vat|tax(?:es)?|gst|btw)|"
    r"tax(?:es)? incluses?|impost[ea] inclus[ea]|inclusive of all taxes|tva incl\w*|"
    r"impuestos? incluidos?|"
    r"impuesto incl|tasse incl\w*|"
    r"belasting(?:en)? inbegrepen|skatt ing[åa]r|"
    r"(?:steuern|steuer) (?:inbegriffen|enthalten)|inkl(?:usive|\.)? steuern?|podatki wliczone|"
    r"z podatkiem|"
    r"inkl(?:\.|usive)? \d+ ?% ?moms|inclusie(?:f|ve)(?: de)? (?:\d+ ?% ?)?(?:btw|tva|mwst)|"
    r"inclusive der (?:gesetzl\w*\.? )?mwst|inkl\.? ?mva|inklusive? mva|da[ňn][ěe] zahrnuty|"
    r"inkl(?:usive|\.)? ?(?:der )?(?:gesetzl\w*\.? )?(?:\d+(?:[.,]\d+)? ?% ?)?(?:mwst|ust|"
    r"mehrwertsteuer|moms)|"
    r"brutto(?:preis)?|t\.?t\.?c\.?(?!\w)|toutes taxes|inclusief btw|incl\.? btw|"
    r"iva compres[ao]|ivat[oa]\b|comprensiv[oa] d\S{1,2} ?iva|c/ ?iva|com impostos|"
    r"impostos incl\w*|btw incl|met btw|incl(?:usief|\.)? belasting|zawiera vat|"
    r"s dan[íi]\b|inklusiv moms|(?:inkludert|inklusiv|med) mva|inkl\.? ?avgift|verolli[ns]|"
    r"tartalmazza az [áa]f[áa]t|[áa]f[áa]-val|cu tva|inclusiv tva|"
    r"(?<!ei )sis(?:\.|[äa]lt[äa][äa]) ?alv\w*|"
    r"brutt[óo](?: [áa]r)?|[áa]f[áa]val|com iva|iva inc\.|"
    r"iva incl\w*|con iva|z vat|(?:s|v[čc]\.?|v[čc]etn[ěe]) dph|med moms|inkl\.? ?moms)|税込",
)
UNIT = Words(
    r"(?:\b(?:unit price|price per|reference price|grundpreis|prix (?:au|unitaire)|basisprijs|"
    r"stukprijs per|"
    r"prezzo al|prezzo unitario|precio por|cena za|cena jednostkowa|j[äa]mf[öo]relsepris|"
    r"enhetspris|egys[ée]g[áa]r|yksikk[öo]hinta|vertailuhinta|"
    r"m[åa]lepris)\b|[\d€$£.,)]\s*(?:\*\s*)?/\s*(?:\d+(?:[.,]\d+)?\s*)?"
    r"(?:laufende\S*\s|lfd\.?\s?)?(?:lfm|m[²³23]?|k?g|l|ml|cm|mm|ft|yd|lb|oz|st(?:k|ück|uck|uk)?|pcs?|pc|piece|metre|meter|litre|"
    r"liter)\b"
    r"|\b(?:pro|je|per|par|al|por|za|le)\s+(?:\d+\s*)?(?:k?g|m[²³23]?|ml|l|litre|liter|metre|"
    r"meter|m[èe]tre)\b)",
)
SHIPPING = Words(
    r"\b(?:courier|next[- ]day|royal mail|dpd|dhl|gls|fedex|usps|evri|postnord|"
    r"(?:standard|first[- ]class|express|tracked|registered) (?:post|mail|parcel)|"
    r"click (?:&|and) collect|"
    r"shipping|delivery|postage|p&p|carriage|dispatch|freight|\w*versand(?!fertig)\w*|"
    r"liefer(?:ung|kosten)|"
    r"mindermengenzuschlag|kleinmengenzuschlag|small order (?:fee|surcharge|charge)|"
    r"porto|livraison|frais de port|exp[ée]dition|verzend\w*|bezorg\w*|spedizione|consegna|"
    r"env[íi]o|gastos|toimitus(?:kulut|maksu)?|posti(?:kulut|maksu)|sz[áa]ll[íi]t[áa]s\w*|portes|dostaw\w*|wysy[łl]k\w*|doprav\w*|po[šs]tovn\w*|\w*frakt|leverans|\w*fragt|"
    r"levering|frete|entregas?|livrare|kargo|dostava|ongkir|pengiriman|tarne|pristatym\w*|"
    r"pieg[āa]d\w*|доставк\w*|пересылк\w*|giao h[àa]ng|v[ậa]n chuy[ểe]n|αποστολ\w*|μεταφορικ\w*)\b|"
    r"送料|配送料|运费|運費|배송비|จัดส่ง|ค่าส่ง|משלוח|شحن|توصيل",
)
INSTALMENT = Words(
    r"(?:\b(?:instal?ments?|interest[- ]free|\d+ (?:payments?|paiements?|pagos|pagamenti|raten|"
    r"rate)|payments? of|sans frais|senza interessi|sin intereses|monthly|per month|a month|"
    r"pay later|"
    r"finance|"
    r"(?:pay|betaal|zahle?|payez|paga|paguez|zapłać|betala|betal) (?:now )?(?:in|en|i|w) \d|"
    r"in \d+ (?:delen|keer|termijnen|teilen|raten|rate|parts|payments)|"
    r"monatlich|raten(?:zahlung)?|mtl\.?|im monat|mensualit\w+|par mois|en \d+ fois|"
    r"\d+ ?x sans frais|em at[ée] \d+ ?x|\d+ ?x de(?=\s*[R$€])|sem juros|\d+ parcelas|"
    r"termijn\w*|per maand|rate da|al mese|mensil\w+|cuotas?|al mes|mensual\w*|rat[yę]?|"
    r"miesi[ęe]cznie|"
    r"spl[áa]tk\w*|m[ěe]s[íi][čc]n[ěe]|havonta|r[ée]szlet\w*|kuukaudessa|"
    r"m[åa]naden|m[åa]ned(?:lig\w*)?|pr\.? md|delbetal\w*|m[åa]neden|afbetal\w*|"
    r"рассрочк\w*|в месяц|розстрочк\w*|на місяць|taksit\w*|tr[ảa] g[óo]p|cicilan|δ[όο]σεις)\b|"
    r"/\s?(?:mo(?:nth)?|mois|monat|mes|mese|maand)\b)",
)
MEMBER = Words(
    r"\b(?:(?:in-)?app[- ]?(?:only|exclusive|price|preis|prijs|pris)|(?:prix|prezzo|precio) app|"
    r"(?:nur|only|alleen|seulement|solo) (?:in|via|with|on|dans|en|nell)['’]? ?"
    r"(?:der |the |our |de |l['’])?app|members?(?:hip)?|club(?:preis|prijs|pris|karte|price)?|"
    r"loyalty|with (?:your )?card|"
    r"mitglied\w*|vip|abonn?\w*|subscri\w+|"
    r"membre\w*|adh[ée]rent\w*|leden|lidmaatschap|soci[oa]?|iscritti|klubow\w+|[čc]len\w*|"
    r"kanta-?asiak\w*|j[äa]sen\w*|t[öo]rzsv[áa]s[áa]rl\w*|s[óo]cios?|vernostn\w*|v[ěe]rnostn\w*|"
    r"sta[łl]y klient\w*|carte de fid[ée]lit[ée]|kundenkarte|stammkunde\w*|"
    r"medlem\w*|klubb\w*)\b|アプリ(?:限定|価格)|会員(?:価格|限定)|회원(?:가|\s?전용)|멤버십|会员价|會員價|app专享|app價|app价",
)
# beside the price of a subscription
ONCE = Words(
    r"\b(?:one[- ]?time|(?:buy|order|purchase) once|single (?:purchase|delivery|order)|"
    r"einmal(?:ig\w*|kauf|bestellung|lieferung)|achat unique|une seule fois|eenmalig\w*|"
    r"acquisto (?:singolo|unico)|compra [úu]nica|jednorazow\w*|jednor[áa]zov\w*|eng[åa]ngsk\w+)\b",
)
USED = Words(
    r"\b(?:used|pre-?owned|refurbished|renewed|second[- ]?hand|open[- ]box|b-?ware|"
    r"gebraucht\w*|occasions?|retourware|zweite wahl|b-stock|ex-demo|tweede kans\w*|"
    r"tweedekans\w*|second chance|seconde vie|second life|zweites leben|tweede leven|"
    r"(?:buy|get it|buy it) new|new (?:from|for)(?=\s*[:€$£\d])|neu(?:ware)? ab|"
    r"neuf [àa] partir de|nieuw vanaf|"
    r"reconditionn\w+|"
    r"tweedehands|usat[oi]|usad[oa]s?|u[żz]ywan\w*|bazarov\w*|begagnad\w*|brugt\w*)\b",
)
EXTRA = Words(
    r"(?:warrant(?:y|ies)|garantie\w*|garanzia|garant[íi]a|gwarancj\w+|z[áa]ruk\w+|"
    r"protection plan|insurance|versicherung\w*|assurance|gift[- ]wrap\w*|geschenkverpackung)"
    r"[^\d€$£]{0,30}$",
)
# before an amount: what a longer guarantee or a protection costs
PLAN = Words(
    r"\b\d{1,2}[- ]?(?:years?|yrs?|jahre?|ans?|jaar|anni|a[ñn]os?|lata?|roky|let|[åa]rs?|months?|"
    r"monate?|mois|maanden|mesi|meses)\b[^\d€$£]{0,24}\b(?:plan|cover\w*|protect\w*|\w*schutz|"
    r"service|warranty|garan[tz]\w*|gwaranc\w*|z[áa]ruk\w*|assur\w*|verzeker\w*|forsikring|"
    r"f[öo]rs[äa]kring|extension)\W*$|"
    r"\b(?:extended warranty|(?:care|protection|service|repair|replacement|damage) plan|"
    r"accidental damage|\w*schutz(?:brief|paket)|(?:ger[äa]te|produkt|premium|komplett)schutz|"
    r"garantieverl[äa]ngerung|(?:extension de )?garantie (?:casse|\d)|assurance casse|"
    r"verlengde garantie|garanzia estesa|(?:ampliaci[óo]n de|extensi[óo]n de) garant[íi]a|"
    r"przed[łl]u[żz]on[aą] gwarancj[aę]|prodlou[žz]en[áa] z[áa]ruka|ut[öo]kad garanti)"
    r"[^\d€$£]{0,20}(?:\d{1,2}[- ]?[^\W\d_]{1,6}[^\d€$£]{0,6})?$",
)
# the amount of the tax itself, or the price of another kind of customer
ASIDE = Words(
    r"\b(?:inkl|incl|inc|enth[äa]lt|includes?|sis)\w*\.?\s?\d+(?:[.,]\d+)?\s?%\s?"
    r"(?:mwst|ust|vat|btw|tva|iva|moms|mva|dph|alv)\.?\s?\(\s*$|"
    r"\b(?:davon|darin enthalten|enth[äa]lt|of which|waarvan|dont|di cui|w tym|z toho|varav|heraf)"
    r"[^:()]{0,12}\b(?:mwst|ust|vat|btw|tva|iva|moms|mva|dph|alv)\.?:?\s*\(?\s*$|"
    r"\b(?:mwst\.?-?|steuer|tax |vat |gst |btw-?|moms)(?:betrag|amount|bedrag|belopp|bel[øo]b)\b|"
    r"\b(?:montant de la (?:tva|taxe)|importo iva|importe del? iva|kwota vat)\b|"
    r"\b(?:trade price|trade only|h[äa]ndlerpreis|wiederverk[äa]ufer\w*|prix pro|prix revendeur|"
    r"cena dla firm|dealer price|"
    r"(?:highest|max(?:imum)?\.?) price|h[öo]chste\w* preis|hoogste prijs|"
    r"prix (?:le plus [ée]lev[ée]|maximum)|prezzo pi[ùu] alto|precio m[áa]s alto|"
    r"h[øo]jeste pris|h[öo]gsta pris\w*|najwy[żz]sza cena|nejvy[šs][šs][íi] cena)\b",
)
SET = Words(
    r"\b(?:im (?:spar)?set|im bundle|als set|set-?preis|bundle ?price|as a bundle|"
    r"(?:bought|buy) together|in combinatie|samen met|en pack|dans le pack|in bundle|nel kit|"
    r"en conjunto|w zestawie|v sad[ěe]|"
    r"i paket|som pakke|pakkepris|paketpris|pakketprijs|mit code|with code|avec le code|con codice|"
    r"con el c[óo]digo|met code|z kodem|s k[óo]d[eo]m|med kod(?:en)?)\b",
)
NEWSLETTER = Words(
    r"\b(?:newsletters?|nieuwsbrief|nyhetsbrev\w*|nyhedsbrev\w*|h[íi]rlev[ée]l\w*|zpravodaj\w*|"
    r"bolet[íi]n|uutiskirje\w*|mailing list)\b",
)
VOUCHER = Words(
    r"\b(?:coupons?|vouchers?|codes?|gutschein\w*|kupon\w*|kod(?:em|u|en|ie)?|k[óo]d(?:em|u)?|"
    r"c[óo]digo|codice|cupom|cup[óo]n|\w*rabattcode|kortingscode)\b",
)
# before an amount: what a card to give away holds
GIFT_CARD = Words(
    r"(?:\bgift[- ]?(?:cards?|vouchers?|certificates?)|\b(?:geschenk)?gutscheine?|"
    r"cartes?[- ]cadeaux?|"
    r"ch[èe]ques?[- ]cadeaux?|\bcadeau(?:bon(?:nen)?|kaart(?:en)?)|buon[oi] regalo|"
    r"tarjetas? (?:de )?regalo|kart[ay] podarunkow[ae]|\bpresentkort|\bgavekort|"
    r"d[áa]rkov[ée] pouka\w+)"
    r"\s*(?:from|ab|d[èe]s|[àa] partir de|vanaf|da|desde|od|fr[åa]n|fra)\W*$",
)
APPROX = Words(r"\b(?:approx\w*|about|circa|ca\.|environ|ungef[äa]hr|ongeveer|circa|aprox\w*)|≈")
LOWEST30 = Words(
    r"(?:\b(?:lowest|niedrigst\w*|g[üu]nstigst\w*|plus bas|laagste|pi[ùu] basso|m[áa]s bajo|"
    r"najni[żz]sz\w*|"
    r"nejni[žz][šs][íi]|najni[žz][šs]\w*|alin|legalacsonyabb|"
    r"mais baixo|l[äa]gsta|laveste)\b.{0,60}\b30\b)|(?:\b30\b.{0,40}\b(?:lowest|"
    r"niedrigst\w*|plus bas|"
    r"najni[żz]sz\w*|laagste|laveste|l[äa]gsta|"
    r"legalacsonyabb\w*)\b)",
)
FROM = Words(
    r"(?:^|\b)(?:from|starting (?:at|from)|as low as|starts at|ab|[àa] partir de|d[èe]s|vanaf|"
    r"a partire da|da|"
    r"desde|od|fr[åa]n|fra)\s*:?\s*$",
)
TIER = Words(
    r"(?:(?<![\d.,€$£])(?<![€$£]\s)\b\d+\s*(?:\+(?!\s*[a-z])|\+ ?(?:sheets?|rolls?|packs?|"
    r"pcs|pieces|units|items|bags?|boxes|sets?|pairs?)|or more|or above|"
    r"and (?:more|above|up)|pcs? or more|oder mehr|et plus|of meer|o pi[ùu]|o m[áa]s|"
    r"eller fler)(?:\b|\s|$)|\b(?:buy|qty|quantity|ab|from|vanaf|[àa] partir de|da|desde|od|"
    r"fr[åa]n|fra|bei|for|pour)\s+\d+\s*"
    r"(?:\+|st(?:[üu]ck|k|uks?)?|pcs?|pieces?|pi[èe]ces?|units?|szt|ks|pz|uds?|unid\w*|kpl|db|for|pour|f[üu]r|at|"
    r"je|[àa]|items?|m|met(?:er|re)s?|m[èe]tres?|metr[iyóůo]w?|metros|kg|liter)\b|"
    r"\b\d+\s+(?:for|pour|f[üu]r|voor|per|por|za)\s+[€$£]?\s?\d|\beach when\b|\bbulk\b|"
    r"\bstaffel\w*|"
    r"\bvolume discount\w*|\bmengen(?:rabatt|staffel|preis)\w*)",
)
POINTS = Words(
    r"\b(?:reward )?(?:points?|punkt(?:e|er|y|[óo]w)?|punten|punti|puntos|pkt|bod[yů]|po[äa]ng|"
    r"pont(?:ok|ot|j\w+)?)\b|"
    r"ポイント|积分|積分|적립",
)
ECO = Words(
    r"\b(?:eco[- ]?(?:tax|part\w*|contribution)|ecotax|recycling (?:fee|charge)|deposit|pfand|"
    r"consigne|"
    r"statiegeld|verwijderingsbijdrage|cauzione|kaucja|z[áa]loha|pant)\b",
)
OPTION = Words(
    r"(?:^|\()\s*[+−-]\s*(?:[€$£]|[A-Z]{2,3}\b)?\s*\d",
)
MINIMUM = Words(
    r"\b(?:over|above|orders? (?:over|above|of)|free (?:shipping|delivery)|spend|minimum order|"
    r"min\. ?order|"
    r"mindestbestell\w*|[üu]ber|d[èe]s|boven|oltre|superior\w*|powy[żz]ej|nad|[öo]ver|over|"
    r"свыше|acima de|peste|đ[ơo]n (?:h[àa]ng )?t[ừu])\s*$",
)
CURRENT = Words(
    r"\b(?:now|on sale|sales? price|selling price|verkaufspreis|prix de vente|precio de venta|"
    r"prezzo di vendita|current price|our price|your price|special price|today|only|"
    r"^(?:price|preis|prix|prijs|precio|prezzo|cena|pris)|jetzt|nur|unser preis|angebotspreis|"
    r"aktueller preis|maintenant|prix actuel|notre prix|nu|"
    r"onze prijs|"
    r"ora|adesso|prezzo attuale|ahora|precio actual|teraz|cena promocyjna|aktualna cena|nyn[íi]|"
    r"na[šs]e cena|"
    r"akční cena|akciov[áa] cena|akci[óo]s [áa]r|nyt|n[åa]|tilbud(?:spris)?|kampanjpris|"
    r"verkaufspreis|endpreis|prix de vente|sales price|selling price|verkoopprijs|"
    r"prezzo di vendita|precio de venta|pre[çc]o de venda|cena sprzeda[żz]y|prodejn[íi] cena|"
    r"predajn[áa] cena|utpris|salgspris|myyntihinta|elad[áa]si [áa]r|va[šs]e cena|"
    r"prezzo online|pre[çc]o final|promo[çc][ãa]o|nu|pris nu|nupris)\b\s*:?\s*$|"
    r"(?:販売価格|特別価格|セール価格|促销价|现价|售价|優惠價|(?:할인)?판매가|할인가|割引価格|値引後価格|特価)\s*(?:[(（]税込[)）])?\s*[:：]?\s*$",
)
# what a price may be per and still be the price of one
PIECE = Words(
    r"^(?:1\s*)?(?:st(?:[üu]ck|k|uk)?|pc|pcs|pce|piece|each|ea|unit|item|pi[èe]ce|unit[éàa]|"
    r"stuks?|pezzo|pz|unidad|ud|szt|ks|set)\.?$"
)
