"""Whether the service lives and is ready; it tells nothing else."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse

router = APIRouter(include_in_schema=False)


@router.get("/healthz")
async def healthz() -> JSONResponse:
    return JSONResponse({"ok": True})


@router.get("/readyz")
async def readyz(request: Request) -> JSONResponse:
    ready = bool(request.app.state.ready)
    return JSONResponse({"ready": ready}, 200 if ready else 503)


@router.get("/manifest.webmanifest")
async def manifest(request: Request) -> JSONResponse:
    """So that a phone can install it and share a shop page with it in one tap."""
    assets = request.app.state.assets
    icon = {"src": assets.url("mark.svg"), "sizes": "any", "type": "image/svg+xml"}
    share = {"action": "/add", "method": "GET"}
    return JSONResponse(
        {
            "name": "Ebbmark",
            "short_name": "Ebbmark",
            "start_url": "/",
            "display": "standalone",
            "background_color": "#f6f4ee",
            "theme_color": "#12293a",
            "icons": [icon],
            "share_target": {**share, "params": {"title": "title", "text": "text", "url": "url"}},
        },
        media_type="application/manifest+json",
    )
