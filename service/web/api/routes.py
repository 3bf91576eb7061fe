"""The routes of the API. Every page has its data here."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import JSONResponse, Response

from service.flows import ask, past, publish, taking, views
from service.flows.ports import Deps
from service.web.api.answers import ERRORS, Limit, Offset, answer, part_of

router = APIRouter(prefix="/api", tags=["book"], responses=ERRORS)
Key = Annotated[str, Query(min_length=1, max_length=2000)]
Days = Annotated[int, Query(ge=7, le=3660)]
At = Annotated[str | None, Query(max_length=40, description="a day or a time (ISO 8601)")]
Which = Annotated[str, Query(pattern="^(cheapest|least-spend)$", description="what counts")]
Code = Annotated[str | None, Query(max_length=10, description="a currency (ISO 4217)")]
Country = Annotated[str | None, Query(max_length=10, description="a country (ISO 3166)")]
ROWS: Any = {200: {"description": "a list", "model": list[dict[str, Any]]}}
ONE: Any = {200: {"description": "an object", "model": dict[str, Any]}}


def deps_of(request: Request) -> Deps:
    found: Deps = request.app.state.deps
    return found


@router.get("/builds", responses=ROWS)
def builds(request: Request, limit: Limit = 200, offset: Offset = 0) -> Response:
    """Every build with its totals now."""
    return part_of(request, ask.builds(deps_of(request)), limit, offset)


@router.get("/builds/{build}/reprice", responses=ONE)
def reprice(
    request: Request,
    build: str,
    at: At = None,
    rule: Which = "cheapest",
    currency: Code = None,
    country: Country = None,
) -> Response:
    """A build at the prices of now or of another day, in a currency, for a country."""
    wish = publish.read_wish(at, rule, currency, country)
    return answer(request, publish.reprice(deps_of(request), build, wish))


@router.get("/builds/{build}/take", responses=ONE)
def take(
    request: Request, build: str, scrap: Annotated[str, Query(max_length=20)] = "30 mm"
) -> Response:
    """What the build still needs and could take from hand; nothing is booked."""
    return answer(request, taking.take_all(deps_of(request), build, scrap=scrap, preview=True))


@router.get("/builds/{build}/series", responses=ONE)
def series(request: Request, build: str, days: Days = 365) -> Response:
    """What the build cost over time."""
    return answer(request, views.build_series(deps_of(request), build, days))


@router.get("/listings", responses=ROWS)
def listings(request: Request, limit: Limit = 200, offset: Offset = 0) -> Response:
    """Every listing with its last price and visit."""
    return part_of(request, ask.listings(deps_of(request)), limit, offset)


@router.get("/evidence", responses=ROWS)
def evidence(request: Request, listing: Key) -> Response:
    """The page's own words behind a listing's price."""
    return answer(request, ask.evidence(deps_of(request), listing))


@router.get("/history", responses=ONE)
def history(
    request: Request, subject: Key, days: Annotated[int | None, Query(ge=1, le=36600)] = None
) -> Response:
    """The price log of a part or listing, with statistics and advice."""
    return answer(request, past.history(deps_of(request), subject, days))


@router.get("/deals", responses=ROWS)
def deals(
    request: Request, limit: Limit = 200, offset: Offset = 0, only_open: bool = False
) -> Response:
    """Deals, the open ones first, with their evidence."""
    return part_of(request, ask.deals(deps_of(request), only_open=only_open), limit, offset)


@router.get("/parts", responses=ROWS)
def parts(request: Request, limit: Limit = 200, offset: Offset = 0) -> Response:
    """Every part with its lowest price a unit now."""
    return part_of(request, views.parts(deps_of(request)), limit, offset)


@router.get("/parts/{part}", responses=ONE)
def part(request: Request, part: str) -> Response:
    """A part with its listings, targets, and builds that need it."""
    return answer(request, views.part(deps_of(request), part))


@router.get("/suppliers", responses=ROWS)
def suppliers(request: Request, limit: Limit = 200, offset: Offset = 0) -> Response:
    """Every supplier with its pages and last visits."""
    return part_of(request, views.suppliers(deps_of(request)), limit, offset)


@router.get("/builds/{build}/versions", responses=ONE)
def versions(request: Request, build: str) -> Response:
    """A build and what derives from it, side by side."""
    return answer(request, views.versions(deps_of(request), build))


@router.get("/kinds/{kind}", responses=ONE)
def kinds(request: Request, kind: str) -> Response:
    """Parts of one kind by their natural measure; other query fields ask for a specification."""
    return answer(request, views.kinds(deps_of(request), kind, dict(request.query_params)))


@router.get("/suppliers/{supplier}", responses=ONE)
def supplier(request: Request, supplier: str) -> Response:
    """A supplier with its pages and their last visits."""
    return answer(request, views.supplier(deps_of(request), supplier))


@router.get("/workshop", responses=ONE)
def workshop(request: Request) -> Response:
    """What is on hand and what was bought."""
    return answer(request, views.workshop(deps_of(request)))


@router.get("/today", responses=ONE)
def today(request: Request) -> Response:
    """What fell, what needs attention, builds, next visits, spending."""
    return answer(request, views.today(deps_of(request)))


@router.get("/token", responses=ONE)
def token(request: Request) -> Response:
    """The token that a change must carry as `X-Token`, with the cookie of this answer."""
    found = request.app.state.sessions.token(request.state.session)
    return JSONResponse({"token": found}, headers={"X-Token": "ok", "Cache-Control": "no-store"})
