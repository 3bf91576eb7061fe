"""The application: what is wired to what. `cli` gives it the schedule as a lifespan."""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, AsyncExitStack, asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import Depends, FastAPI
from starlette.concurrency import run_in_threadpool

from service.flows.ports import Deps
from service.settings import Settings
from service.web import api, pages
from service.web.access import Paces, SessionLayer, enter
from service.web.accounts import Accounts
from service.web.assets import Assets
from service.web.assets import router as static_router
from service.web.exposure import Exposure, check_exposure, is_loopback
from service.web.guard import LOOPBACK_NAMES
from service.web.problems import add_handlers
from service.web.sessions import Sessions
from service.web.wire import Wire

Lifespan = Callable[[Any], AbstractAsyncContextManager[None]]
TITLE = "Ebbmark"
ABOUT = "What a model build costs today, what it really cost, and when and where to buy each part."


def create_app(
    deps: Deps,
    *,
    settings: Settings,
    exposure: Exposure | None = None,
    lifespan: Lifespan | None = None,
    cache: Path | None = None,
) -> FastAPI:
    """The whole web application.

    `exposure`: where it will listen, InputError if it must not. `lifespan`: what
    runs beside it (the schedule). `cache`: where the chart library is kept.
    """
    place = exposure or Exposure()
    accounts = Accounts(deps.store, deps.clock)
    check_exposure(place, accounts.all())
    app = FastAPI(
        title=TITLE,
        description=ABOUT,
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        dependencies=[Depends(enter)],
        lifespan=_lifespan(lifespan),
    )
    sessions = Sessions(deps.store, deps.clock, club=not is_loopback(place.host))
    app.state.deps, app.state.settings = deps, settings
    app.state.accounts, app.state.sessions, app.state.paces = accounts, sessions, Paces()
    app.state.assets = Assets(cache or _cache_dir())
    app.state.ready = False
    add_handlers(app)
    for router in (static_router, *pages.routers(), *api.routers):
        app.include_router(router)
    app.add_middleware(SessionLayer, sessions=sessions, tls=place.covered)
    app.add_middleware(Wire, hosts=LOOPBACK_NAMES | place.names, tls=place.covered)
    return app


def _cache_dir() -> Path:
    """Where things that can be made again are kept (XDG base directory specification)."""
    named = os.environ.get("XDG_CACHE_HOME")
    return (Path(named) if named else Path.home() / ".cache") / "ebbmark"


def _lifespan(beside: Lifespan | None) -> Lifespan:
    @asynccontextmanager
    async def run(app: FastAPI) -> AsyncIterator[None]:
        await run_in_threadpool(app.state.sessions.warm)
        async with AsyncExitStack() as stack:
            if beside is not None:
                await stack.enter_async_context(beside(app))
            app.state.ready = True
            library = asyncio.create_task(run_in_threadpool(app.state.assets.make_chart_library))
            try:
                yield
            finally:
                app.state.ready = False
                await library

    return run
