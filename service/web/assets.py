"""Static files, fonts and the chart library, from our own origin, cached for good.

An address holds a stamp of the contents, so a browser never asks twice.
"""

from __future__ import annotations

import gzip
import hashlib
import logging
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from threading import Lock

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

log = logging.getLogger("ebbmark.web")
FONTS = {"400": "Regular", "600": "SemiBold"}
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".ttf": "font/ttf",
}
FOREVER = "public, max-age=31536000, immutable"
_MAKE = "import sys, vl_convert; open(sys.argv[1], 'w', encoding='utf-8').write({call})".format(
    call="vl_convert.javascript_bundle()"
)


@dataclass(frozen=True, slots=True)
class Asset:
    """One file, plain and packed."""

    body: bytes
    packed: bytes
    kind: str


class Assets:
    """All files by name; the chart library is made once and kept in `cache`."""

    def __init__(self, cache: Path) -> None:
        self._cache = cache
        self._making = Lock()
        self._files = dict(_read_all())
        digest = hashlib.sha256(b"".join(self._files[n].body for n in sorted(self._files)))
        self.stamp = f"{digest.hexdigest()[:12]}-{chart_version()}"

    def url(self, name: str) -> str:
        """Where a page finds a file."""
        return f"/static/{self.stamp}/{name}"

    def has(self, name: str) -> bool:
        return name in self._files or name == "vega.js"

    def make_chart_library(self) -> None:
        """Ready before the first page asks; where it cannot be made, charts stay still pictures."""
        try:
            self.get("vega.js")
        except (OSError, subprocess.SubprocessError):
            log.warning("the chart library could not be made; charts stay still", exc_info=True)

    def get(self, name: str) -> Asset | None:
        """None: no such file."""
        if name == "vega.js":
            self._need_chart_library()
        return self._files.get(name)

    def _need_chart_library(self) -> None:
        """Made by whoever asks first; the start and the first page ask at the same time."""
        with self._making:
            if "vega.js" not in self._files:
                self._files["vega.js"] = _pack(_chart_library(self._cache), ".js")


def _read_all() -> list[tuple[str, Asset]]:
    found = []
    for item in files("service.web").joinpath("static").iterdir():
        suffix = Path(item.name).suffix
        if suffix in TYPES:
            found.append((item.name, _pack(item.read_bytes(), suffix)))
    for weight, style in FONTS.items():
        if (path := _font(style)) is not None:
            found.append((f"sheet-{weight}.ttf", _pack(path.read_bytes(), ".ttf")))
    return found


def _font(style: str) -> Path | None:
    """None where the font's package is not installed: the system's sans serves then."""
    spec = find_spec("fontpkg_barlow_semi_condensed")
    if spec is None or not spec.origin:
        return None
    path = Path(spec.origin).parent / "files" / f"BarlowSemiCondensed-{style}.ttf"
    return path if path.is_file() else None


def _pack(body: bytes, suffix: str) -> Asset:
    return Asset(body, gzip.compress(body, 6, mtime=0), TYPES[suffix])


def chart_version() -> str:
    try:
        return version("vl-convert-python").replace(".", "")
    except PackageNotFoundError:
        return "0"


def _chart_library(cache: Path) -> bytes:
    """Vega, Vega-Lite and Embed in one file, made in a child process (it holds the GIL)."""
    path = cache / f"vega-{chart_version()}.js"
    if not path.is_file():
        cache.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=cache) as own:  # other processes may make it too
            part = Path(own) / path.name
            subprocess.run([sys.executable, "-c", _MAKE, str(part)], check=True, timeout=120)  # noqa: S603 - our own interpreter, no shell
            part.replace(path)
    return path.read_bytes()


router = APIRouter(include_in_schema=False)


@router.get("/static/{stamp}/{name}")
def static(request: Request, stamp: str, name: str) -> Response:
    assets: Assets = request.app.state.assets
    found = assets.get(name)
    if found is None:
        raise HTTPException(404)
    headers = {"Cache-Control": FOREVER if stamp == assets.stamp else "no-cache"}
    headers["Vary"] = "Accept-Encoding"
    body = found.body
    if "gzip" in request.headers.get("accept-encoding", ""):
        body = found.packed
        headers["Content-Encoding"] = "gzip"
    return Response(body, media_type=found.kind, headers=headers)
