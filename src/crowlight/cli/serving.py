"""``crowlight serve``: the pages, on this machine alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["serve", "serve_folder"]


def serve(
    context: typer.Context,
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes that of last time.")] = 0,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
) -> None:
    """Open the bench in the browser; nothing leaves this machine."""
    serve_folder(context.obj, port=port, browser=browser)


def serve_folder(folder: Path | None, *, port: int = 0, browser: bool = True) -> None:
    """Serve a folder of records on 127.0.0.1 until interrupted.

    Parameters
    ----------
    folder : Path or None
        The records; the user's own if None.
    port : int
        The port; 0 takes the one of last time, or a free one.
    browser : bool
        Whether to open the browser.
    """
    import os
    import threading
    import webbrowser

    import uvicorn

    from crowlight.web import create_app
    from crowlight.wiring import open_desk
    from crowlight.wiring.failpoints import failpoint_of
    from crowlight.wiring.jobs import ProcessJobs
    from crowlight.wiring.ports import listen

    failpoint = failpoint_of(os.environ)
    listener = listen(folder, port)
    address = f"http://127.0.0.1:{listener.getsockname()[1]}/"
    with listener, open_desk(folder, jobs=ProcessJobs(), failpoint=failpoint) as desk:
        app = create_app(desk, failpoint=failpoint)
        typer.echo(f"crowlight is at {address} (end it with Ctrl+C)")
        if browser:
            threading.Timer(0.8, webbrowser.open, (address,)).start()
        config = uvicorn.Config(app, log_level="warning", access_log=False)
        uvicorn.Server(config).run(sockets=[listener])
