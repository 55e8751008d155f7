"""The desk's routes and its running server, on this machine's loopback address only.

Built on starlette, run by uvicorn.  Every path begins with a token (`guard.py`).
Bodies are read up to a bound and no further.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import tempfile
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

import uvicorn
from pydantic import ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from foamwright import __version__
from foamwright.desk import brought, shown
from foamwright.desk.brought import Unwelcome
from foamwright.desk.cards import Card, Cards
from foamwright.desk.guard import Guard
from foamwright.desk.packing import Made
from foamwright.desk.work import LOOKING, Stale, Table
from foamwright.errors import CommandError, FoamwrightError
from foamwright.findings import Refused
from foamwright.job import load_job
from foamwright.job_checks import drawing_and_piece
from foamwright.names import safe_name

LOOPBACK = "127.0.0.1"
#: Bytes of a message that isn't a file: hundreds of cards.
MOST_WORDS = 2_000_000
NOTHING_MADE = "nothing is cut as the cards stand: make the files first"
#: The operator's sheet brings a policy of its own; besides, it is nobody's origin here.
SHEET_POLICY = (
    "sandbox allow-scripts allow-modals; default-src 'none'; "
    "script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:"
)
#: Files of the page and what they are; nothing else is served.
PAGE = MappingProxyType(
    {
        "index.html": "text/html; charset=utf-8",
        "desk.svg": "image/svg+xml",
        "desk.css": "text/css; charset=utf-8",
        "desk.js": "text/javascript; charset=utf-8",
        "parts.js": "text/javascript; charset=utf-8",
        "calls.js": "text/javascript; charset=utf-8",
        "head.js": "text/javascript; charset=utf-8",
        "cards.js": "text/javascript; charset=utf-8",
        "seams.js": "text/javascript; charset=utf-8",
        "told.js": "text/javascript; charset=utf-8",
    }
)


class Asked(Card):
    """What the page asks to be checked. cards: None leaves the job as it is; edition: the one that
    they were changed from.
    """

    cards: Cards | None = None
    edition: int | None = None
    seconds: int = LOOKING
    fresh: bool = False


class Paper(Card):
    """On which paper the page asks for the pattern."""

    size: Literal["a4", "letter", "a3", "tabloid"] = "a4"


class TooMuch(FoamwrightError):
    """A body longer than its bound."""


async def _body(request: Request, most: int) -> bytes:
    """The whole body. Raises TooMuch as soon as it passes the bound."""
    data = bytearray()
    async for part in request.stream():
        data += part
        if len(data) > most:
            raise TooMuch(f"more than {most / 1e6:.0f} MB are not taken at once")
    return bytes(data)


class Desk:
    """The routes about one table."""

    def __init__(self, table: Table, close: Callable[[], None]) -> None:
        self.table, self._close = table, close

    async def page(self, request: Request) -> Response:
        name = request.path_params.get("name", "index.html")
        if name not in PAGE:
            return _refused(404, "the desk has no such page")
        data = files("foamwright.desk").joinpath("page", name).read_bytes()
        return Response(data, headers={"Content-Type": PAGE[name]})

    async def start(self, request: Request) -> Response:
        """What a page needs when it opens."""
        state = await run_in_threadpool(self.table.check)
        return JSONResponse({"version": __version__, **state})

    async def bring(self, request: Request) -> Response:
        name = request.query_params.get("name", "")
        data = await _body(request, brought.MOST_BYTES)
        return JSONResponse(await run_in_threadpool(self.table.bring, name, data))

    async def check(self, request: Request) -> Response:
        asked = Asked.model_validate_json(await _body(request, MOST_WORDS))

        def work() -> dict[str, Any]:
            if asked.cards is not None:
                self.table.set_cards(asked.cards, asked.edition)
            return self.table.check(max(0, asked.seconds), asked.fresh)

        return JSONResponse(await run_in_threadpool(work))

    async def cut(self, request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(self.table.cut))

    async def paper(self, request: Request) -> Response:
        asked = Paper.model_validate_json(await _body(request, MOST_WORDS))
        return JSONResponse(await run_in_threadpool(self.table.paper, asked.size))

    async def pattern(self, request: Request) -> Response:
        made = self.table.pattern
        return _refused(409, NOTHING_MADE) if made is None else _download(made, "application/pdf")

    async def undo(self, request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(self.table.undo))

    async def sheet(self, request: Request) -> Response:
        """The operator's sheet of the last cut, in a box of its own: it can't call the desk."""
        made = self.table.made
        if made is None:
            return _refused(409, NOTHING_MADE)
        told = {"Content-Security-Policy": SHEET_POLICY}
        return Response(made.sheet, media_type="text/html; charset=utf-8", headers=told)

    async def clear(self, request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(self.table.clear))

    async def zip(self, request: Request) -> Response:
        made = self.table.made
        if made is None:
            return _refused(409, NOTHING_MADE)
        return _download(made)

    async def job(self, request: Request) -> Response:
        return _download(await run_in_threadpool(self.table.job_zip))

    async def close(self, request: Request) -> Response:
        self._close()
        return JSONResponse({"closed": True})


def _download(made: Made, kind: str = "application/zip") -> Response:
    told = {"Content-Disposition": f'attachment; filename="{made.name}"'}
    return Response(made.data, media_type=kind, headers=told)


def _refused(status: int, why: str) -> Response:
    return JSONResponse({"error": why}, status)


async def _on_stop(request: Request, why: Exception) -> Response:
    """What stops a call, as one line, or with the findings that it carries."""
    if isinstance(why, TooMuch):
        return _refused(413, str(why))
    if isinstance(why, Stale):
        return _refused(409, str(why))
    if isinstance(why, Refused):
        told = shown.findings_data(why.findings, Cards.model_validate({"head": {"name": ""}}))
        return JSONResponse({"error": "it is refused", "findings": told}, 422)
    return _refused(422, str(why))


async def _on_misfit(request: Request, why: Exception) -> Response:
    """Cards that no page of ours would send."""
    return _refused(400, "the desk doesn't understand this call")


async def _on_flaw(request: Request, why: Exception) -> Response:
    kind = f"{type(why).__name__}: {why}".splitlines()[0][:200]
    return _refused(500, f"foamwright itself failed ({kind})")


def desk_app(
    table: Table, token: str, hosts: tuple[str, ...], close: Callable[[], None]
) -> ASGIApp:
    """The desk as an ASGI application behind its guard."""
    desk = Desk(table, close)
    routes = [
        Route("/", desk.page),
        Route("/page/{name}", desk.page),
        Route("/start", desk.start),
        Route("/bring", desk.bring, methods=["POST"]),
        Route("/check", desk.check, methods=["POST"]),
        Route("/cut", desk.cut, methods=["POST"]),
        Route("/paper", desk.paper, methods=["POST"]),
        Route("/pattern", desk.pattern),
        Route("/undo", desk.undo, methods=["POST"]),
        Route("/sheet", desk.sheet),
        Route("/clear", desk.clear, methods=["POST"]),
        Route("/close", desk.close, methods=["POST"]),
        Route("/zip", desk.zip),
        Route("/job", desk.job),
    ]
    stops = {FoamwrightError: _on_stop, ValidationError: _on_misfit, Exception: _on_flaw}
    return Guard(Starlette(routes=routes, exception_handlers=stops), token, hosts)


def serve(port: int, opened: Callable[[str], None], first: tuple[Path, ...] = ()) -> None:
    """Runs the desk until it is closed. port 0: any that is free.  opened: told the address.

    first: files that lie on the desk from the start.  Raises CommandError where the port is taken.
    """
    with tempfile.TemporaryDirectory(prefix="foamwright-desk-") as folder, _bound(port) as door:
        table = Table(Path(folder))
        for file in (x for named in first for x in with_its_drawings(named)):
            table.bring(file.name, _content(file))
        token = secrets.token_urlsafe(32)
        number = door.getsockname()[1]
        hosts = (f"{LOOPBACK}:{number}", f"localhost:{number}")
        server: uvicorn.Server

        def close() -> None:
            server.should_exit = True

        app = desk_app(table, token, hosts, close)
        config = uvicorn.Config(
            app,
            log_level="info" if os.environ.get("FOAMWRIGHT_DEBUG") else "critical",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            ws="none",
            timeout_graceful_shutdown=2,
        )
        server = uvicorn.Server(config)
        opened(f"http://{LOOPBACK}:{number}/{token}/")
        with contextlib.suppress(KeyboardInterrupt):  # the way to close it at the terminal
            server.run(sockets=[door])


def _bound(port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        door.bind((LOOPBACK, port))
        door.listen()  # who opens the address at once waits, and isn't turned away
    except OSError as why:
        door.close()
        raise CommandError(f"--port {port}: {why.strerror or why}; choose another") from why
    return door


def with_its_drawings(file: Path) -> tuple[Path, ...]:
    """The file; before a job its layout and the drawings that it names, as far as they are there.

    Raises Refused where the job can't be read.
    """
    if file.suffix.lower() != brought.JOB:
        return (file,)
    job = load_job(file)
    named = [drawing_and_piece(p.outline)[0] for p in job.piece]
    layout = f"{safe_name(job.job.name).lower()}{brought.LAYOUT}"
    beside = [file.parent / name for name in dict.fromkeys((*named, layout))]
    return (*(f for f in beside if f.is_file()), file)


def _content(file: Path) -> bytes:
    try:
        if file.stat().st_size > brought.MOST_BYTES:
            raise Unwelcome(f"{file.name}: holds more than the desk takes")
        return file.read_bytes()
    except OSError as why:
        raise CommandError(f"{file}: can't be read: {why.strerror or why}") from why
