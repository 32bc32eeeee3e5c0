"""What lets the pages work while the server does not answer."""

from __future__ import annotations

import json
from importlib.resources import files

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.web.sending import UseBench

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/sw.js")
def service_worker(bench: UseBench) -> Response:
    """Return the service worker; its text changes whenever a script or the style sheet does."""
    version = bench.pages.version
    folder = files("crowlight.web") / "static" / "js"
    scripts = sorted(f.name for f in folder.iterdir() if f.name.endswith(".js"))
    names = ["pages.css", *(name for name in scripts if name != "sw.js")]
    shell = [f"/static/{version}/{name}" for name in names]
    head = f"const VERSION = {json.dumps(version)};\nconst SHELL = {json.dumps(shell)};\n"
    return Response(
        head + (folder / "sw.js").read_text(encoding="utf-8"),
        media_type="text/javascript; charset=utf-8",
        headers={"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"},
    )


@router.get("/waiting")
def waiting(request: Request, bench: UseBench) -> Response:
    """Show what waits in this browser to be sent; its script fills it in."""
    return bench.pages.render(request, "outbox.html")
