"""Static files: our own scripts and styles, and the typeface out of its installed package."""

from __future__ import annotations

import hashlib
from importlib import resources
from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from sealwright import __version__
from sealwright.errors import NotFound

STATIC = Path(str(resources.files("sealwright.web"))) / "static"
TEMPLATES = STATIC.parent / "templates"
FONTS = ("Regular", "Semibold", "Bold")


def _build() -> str:
    """Names this version of the pages: changes when any script, style or template does."""
    digest = hashlib.sha256(__version__.encode())
    for path in sorted([*STATIC.rglob("*"), *TEMPLATES.rglob("*")]):
        if path.is_file():
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:12]


BUILD = _build()


def _font_path(face: str) -> Path:
    folder = Path(str(resources.files("font_source_sans_pro")))
    return next(iter(sorted(folder.rglob(f"*-{face}.ttf")) or sorted(folder.rglob(f"*-{face}.otf"))))


async def font(request: Request) -> Response:
    face = request.path_params["face"]
    if face not in FONTS:
        raise NotFound(f"no typeface {face!r}", place="typeface", mend=f"Choose one of {', '.join(FONTS)}")
    return FileResponse(_font_path(face), headers={"Cache-Control": "public, max-age=31536000, immutable"})


class Immutable(StaticFiles):
    """Files under an address that carries the build never change."""

    def file_response(self, *args: object, **kwargs: object) -> Response:
        response = super().file_response(*args, **kwargs)  # type: ignore[arg-type]
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response


async def service_worker(request: Request) -> Response:
    """Served from the top so that it may look after the whole site; carries the build, so a new version replaces it."""
    files = [f"/static/{BUILD}/{p.relative_to(STATIC).as_posix()}" for p in sorted([*STATIC.glob("room/*.js"),
                                                                                  *STATIC.glob("*.css")])]
    text = (STATIC / "worker.js").read_text("utf-8").replace("__BUILD__", BUILD)
    text = text.replace('"__FILES__"', ", ".join(f'"{f}"' for f in [*files, *(f"/type/{face}" for face in FONTS)]))
    return Response(text, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


def routes() -> list[Route | Mount]:
    return [
        Route("/worker.js", service_worker),
        Route("/type/{face}", font),
        Mount(f"/static/{BUILD}", Immutable(directory=STATIC), name="static"),
    ]
