"""Listings: check now, accept or reject what is kept aside, remove."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from service.errors import InputError
from service.flows import doubts, edit, targets
from service.flows.names import need_listing
from service.flows.poll import poll_these
from service.flows.saved import poll_saved
from service.web.pages.common import Name, Text, deps_of, go

Then = Annotated[str, Form(alias="next", max_length=300)]
router = APIRouter(prefix="/listings", include_in_schema=False)


@router.post("/accept")
def accept(request: Request, listing: Name, then: Then = "/") -> Response:
    doubts.accept(deps_of(request), listing)
    return go(then, saved=True)


@router.post("/reject")
def reject(request: Request, listing: Name, then: Then = "/") -> Response:
    doubts.reject(deps_of(request), listing)
    return go(then, saved=True)


@router.post("/remove")
def remove(request: Request, listing: Name, then: Then = "/") -> Response:
    edit.remove_listing(deps_of(request), listing)
    return go(then, saved=True)


@router.post("/target")
def target(request: Request, listing: Name, value: Text, then: Then = "/") -> Response:
    """Tell me when this page asks no more than that."""
    targets.on_listing(deps_of(request), listing, value)
    return go(then, saved=True)


@router.post("/check")
async def check(request: Request, listing: Name, then: Then = "/") -> Response:
    """Visit one page now; its host still gets its gap."""
    deps = deps_of(request)
    if request.app.state.paces.too_often(f"check {listing}", 1):
        raise InputError("this page was asked for within the last minute: wait a little")

    def find() -> int:
        with deps.store.read() as unit:
            return need_listing(unit, listing).id

    await poll_these(deps, [await run_in_threadpool(find)])
    return go(then, saved=True)


@router.post("/page")
def page_file(
    request: Request,
    listing: Name,
    file: Annotated[UploadFile, File()],
    then: Then = "/",
) -> Response:
    """A page that the user saved from the browser counts as a reading, marked so."""
    poll_saved(deps_of(request), listing, file.file.read())
    return go(then, saved=True)
