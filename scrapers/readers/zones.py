"""Class words and styles of what a page hides, speaks only, strikes, or shows of other things."""

from __future__ import annotations

import re

_I = re.IGNORECASE

# an ancestor named so (below the one shared with the heading) holds other things
OTHER_CLASS = re.compile(
    r"related|together|up-?sell|cross-?sell|recommend|similar|also[-_]?(?:bought|viewed|like)|"
    r"recent(?:ly)?|viewed|mini-?(?:cart|basket|bag)|"
    r"cart[-_]?(?:total|drawer|content|preview|summary|widget|subtotal|count|amount|item|flyout|"
    r"sidebar|popup|modal|panel|notification|dropdown|menu|box)|"
    r"(?:header|top|side|off-?canvas|ajax|floating|nav)[-_]?(?:cart|basket|bag)|off-?canvas-?cart|"
    r"basket[-_]?(?:total|content|summary|preview|count)|subtotal|widget_(?:shopping_cart|"
    r"products)|cart-contents|(?:^|\s)cart(?=$|\s)|"
    r"shopping-?(?:cart|bag|basket)|warenkorb|panier|winkelwagen|"
    r"accessor(?:y|ies)|zubeh[oö]r|frequently|bundle|complement|suggest(?![-_]?price)|alternativ|upgrade|"
    r"product[-_]?(?:card|tile|teaser|thumb|miniature|box-?list|layout(?=$|\s)|grid|list(?:ing(?!-?price)|(?!ing)(?!-?price))|slider|"
    r"carousel|recommend)|"
    r"products?[-_]?(?:grid|list(?!-?price)|row|slider|carousel)|(?:^|[\s_-])cards?(?=$|\s)|grid__item|"
    r"swiper-slide|slick-slide|"
    r"x-?sell(?!ing[-_]?price)|cross-?selling|best-?sell|top-?sell|new-?arrival|featured|trending|popular|sponsored|"
    r"(?<![\w-])widget(?![\w-]| widget-(?:item|price|product))|"
    r"wish-?list|compare-?(?:list|bar|table)|(?<!p)review|testimonial|comment|facet|filter|"
    r"breadcrumb|"
    r"mega-?menu|navbar|(?:site|page|main)[-_]?(?:footer|nav)|cookie|consent|newsletter|"
    r"popup-?promo|"
    r"(?:tab|panel|accordion)[-_]?\w*(?:shipping|delivery|returns)|"
    r"(?:shipping|delivery)[-_]?(?:tab|panel|returns|policy|table|methods|costs|rates|options)|"
    r"gift-?wrap|warranty|insurance|protection-?plan|trade-?in|other-?sellers|more-?(?:from|"
    r"products)|"
    r"you-?may|customers|collections?-?list|announcement|promo-?bar|usp|free-?shipping-?bar",
    _I,
)
# what tests call the card of another thing
OTHER_CALLED = re.compile(
    r"(?:\w{1,12}[-_])?(?:product[-_]?(?:card|tile|teaser|miniature)s?|"
    r"(?:related|recommended|similar|accessory)[-_]?(?:products?|items?|articles?|list)|"
    r"recommendations?|accessories|(?:cross|up)-?sell(?:ing|s)?)"
    r"(?:[-_](?:list|slider|carousel|grid|section))?",
    _I,
)
HIDDEN_CLASS = re.compile(
    r"(?:^|\s)(?:hide|hidden|d-none|is-hidden|u-hidden|hidden-xs-up|display-none|js-hidden|"
    r"uk-hidden|invisible|"
    r"visually-hidden-always|no-display|ng-hide|visuallyhidden-block|collapse(?!\S))(?=$|\s)",
    _I,
)
SPOKEN_CLASS = re.compile(
    r"(?:^|\s)(?:[\w-]{0,30}?[_-])?(?:sr-only|screen-reader(?:-text|-only|s)?|visually-?hidden|"
    r"off-?screen|screen-?reader[a-z]{1,12}(?:-\w{1,12})?|"
    r"assistive-text|screenreader|element-invisible|a11y-hidden|hidden-visually|"
    r"show-for-sr)(?:__\w{1,12})?(?=$|\s)|(?:^|\s)sr(?=$|\s)",
    _I,
)
HIDDEN_STYLE = re.compile(r"display\s*:\s*none|visibility\s*:\s*hidden", _I)
# a window that opens above the page: it shows another thing, or asks for something
WINDOW_CLASS = re.compile(
    r"(?:^|\s)(?!(?:has|is|no|with|js|opens?|show|trigger)[-_])(?:[\w-]{0,40}[-_])?"
    r"(?:modal|lightbox|popup|dialog|drawer|quick-?(?:view|shop|look))(?=$|\s)",
    _I,
)
STRUCK_STYLE = re.compile(r"line-through", _I)
