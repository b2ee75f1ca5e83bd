"""The routes: which address shows which sheet, and which form asks for what.

Thin: a form is read, checked for its token, handed to a worker or a bench, and answered with the
sheet to look at next. There is no route for arbitrary commands. Sheets are made in `sheets`.
"""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.templating import Jinja2Templates

from asleft.errors import AsleftError
from asleft.page import acting, sheets, taking
from asleft.page.doors import COOKIE, FORM_BYTES, KEY_LASTS_S, REPORT_BYTES, Doors
from asleft.page.forms import read_form
from asleft.page.house import House
from asleft.page.saying import way_of
from asleft.page.strip import elsewhere, others, pulse

HERE = Path(__file__).parent
# After an answer the next step is there in milliseconds; a form without script waits for it.
NEXT_STEP_S = 2.0
IN_PLACE = "x-in-place"
KINDS = {".css": "text/css", ".js": "text/javascript"}

Handler = Callable[[Request], Awaitable[Response]]


def application(house: House, hosts: frozenset[str]) -> Doors:
    """The whole page behind its doors."""
    routes = _Routes(house)

    @asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        house.live.attach()
        yield

    of_machine = "/m/{machine}"
    app = Starlette(
        routes=[
            Route("/", routes.sheet("workshop")),
            Route("/key", routes.key, methods=["GET", "POST"]),
            Route("/machine", routes.act(acting.describe_machine), methods=["POST"]),
            Route("/instrument", routes.act(acting.describe_instrument), methods=["POST"]),
            Route("/stop", routes.stop, methods=["POST"]),
            Route("/live", routes.live),
            *[
                Route(f"{of_machine}/{name}", routes.sheet(name))
                for name in ("before", "evening", "now", "finding", "change", "take", "history")
            ],
            Route(f"{of_machine}/live", routes.live),
            Route(f"{of_machine}/stop", routes.stop, methods=["POST"]),
            Route(f"{of_machine}/answer", routes.answer, methods=["POST"]),
            Route(f"{of_machine}/pasted", routes.act(acting.pasted), methods=["POST"]),
            Route(f"{of_machine}/conditions", routes.act(acting.conditions), methods=["POST"]),
            Route(f"{of_machine}/do/{{what}}", routes.act(acting.do), methods=["POST"]),
            Route(f"{of_machine}/record.{{form}}", routes.record),
            Route(f"{of_machine}/piece.zip", routes.piece),
            Route("/static/{name}", routes.static),
        ],
        exception_handlers={AsleftError: routes.trouble, 404: routes.nowhere},
        lifespan=lifespan,
    )
    return Doors(app, house.keys, hosts=hosts, lan=house.lan)


class _Routes:
    """The handlers, with the house in reach."""

    def __init__(self, house: House) -> None:
        self.house = house
        env = Environment(
            loader=FileSystemLoader(HERE / "templates"),
            autoescape=True,
            trim_blocks=True,
            lstrip_blocks=True,
            undefined=StrictUndefined,
        )
        self._static = {
            file.name: file.read_bytes() for file in sorted((HERE / "static").iterdir())
        }
        digest = hashlib.sha256(b"".join(self._static.values())).hexdigest()[:12]
        env.globals["edition"] = digest
        env.globals["path_of"] = _path_of
        env.globals["way_of"] = way_of
        for name in env.list_templates():
            env.get_template(name)  # now, and not while the first visitor waits
        self._templates = Jinja2Templates(env=env)

    def sheet(self, name: str) -> Handler:
        """A handler that shows a sheet."""

        async def show(request: Request) -> Response:
            return await self._sheet(name, request, dict(request.query_params))

        return show

    async def _sheet(self, name: str, request: Request, asked: dict[str, str]) -> Response:
        machine = request.path_params.get("machine")
        # Taken first: what changes while the sheet is made is shown by the next version.
        version = self.house.live.version
        context = await run_in_threadpool(sheets.SHEETS[name], self.house, machine, asked)
        if machine is not None:
            context["others"] = others(self.house, machine)
        return self._page(request, f"{name}.html", {**context, "version": version})

    async def static(self, request: Request) -> Response:
        """Style or script, from memory; a browser keeps it for as long as its address stays."""
        name = request.path_params["name"]
        kind = KINDS.get(Path(name).suffix)
        if name not in self._static or kind is None:
            return await self.nowhere(request, None)
        kept = {"cache-control": "public, max-age=31536000, immutable"}
        return Response(self._static[name], media_type=kind, headers=kept)

    def act(self, action: acting.Action) -> Handler:
        """A handler that does what a form says and leads on."""

        async def do(request: Request) -> Response:
            limit = REPORT_BYTES if request.url.path.endswith("/pasted") else FORM_BYTES
            form = await self._ours(request, limit)
            where = dict(request.path_params)
            next_sheet = await run_in_threadpool(action, self.house, where, form)
            if where.get("machine") and next_sheet.endswith("/now"):
                await self._settled(where["machine"])
            return RedirectResponse(next_sheet, 303)

        return do

    async def answer(self, request: Request) -> Response:
        """An answer to the present step; a stale one is shown the present state."""
        form = await self._ours(request, FORM_BYTES)
        machine = request.path_params["machine"]
        worker = self.house.worker(machine)
        fate = worker.answer(form.get("step", ""), form)
        if fate in ("taken", "held"):
            await self._settled(machine)
        if IN_PLACE in request.headers:  # the script puts the next step in the place of this one
            return await self._sheet("now", request, {"stale": "1"} if fate == "stale" else {})
        return RedirectResponse(_path_of(machine, "now", stale=fate == "stale"), 303)

    async def _settled(self, machine: str) -> None:
        """Wait a moment for what comes next, so that a plain form lands on it."""
        worker = self.house.worker(machine)
        person = worker.person

        def there() -> bool:
            return not worker.busy or person.present is not None or person.wait is not None

        await self.house.live.until(there, NEXT_STEP_S)

    async def stop(self, request: Request) -> Response:
        """Stop, ahead of everything: not through a job's queue nor a thread pool's."""
        await self._ours(request, FORM_BYTES)
        machine = request.path_params.get("machine")
        if machine is None:
            self.house.stop_all()
            return RedirectResponse("/", 303)
        worker = self.house.worker(machine)
        worker.stop()
        await self.house.live.until(lambda: not worker.busy, NEXT_STEP_S)
        return RedirectResponse(_path_of(machine, "now"), 303)

    async def live(self, request: Request) -> Response:
        """The stream of one open page."""
        machine = request.path_params.get("machine")
        worker = None if machine is None else self.house.worker(machine)
        if worker is None:
            return self.house.live.stream(dict)

        def state() -> dict[str, Any]:
            away = elsewhere(self.house, worker.machine)
            return {**pulse(worker), "elsewhere": away and _path_of(away, "now")}

        return self.house.live.stream(state)

    async def record(self, request: Request) -> Response:
        """The record of a machine's last calibration as a file."""
        machine, form = request.path_params["machine"], request.path_params["form"]
        if form not in taking.FORMS:
            return await self.nowhere(request, None)
        content, name = await run_in_threadpool(taking.record_file, self.house, machine, form)
        return _file(content, name, taking.FORMS[form])

    async def piece(self, request: Request) -> Response:
        """The files of the piece that the present step asks for."""
        machine, asked = request.path_params["machine"], dict(request.query_params)
        content, name = await run_in_threadpool(taking.piece_files, self.house, machine, asked)
        return _file(content, name, "application/zip")

    async def key(self, request: Request) -> Response:
        """Ask for the pass key of `--lan`, and let in whoever has it."""
        if request.method == "GET":
            return self._page(request, "key.html", {"wait_s": None})
        form = await read_form(request, FORM_BYTES)
        wait_s = self.house.keys.try_key(form.get("key", ""))
        if wait_s is not None:
            return self._page(request, "key.html", {"wait_s": wait_s}, status=429)
        let_in = RedirectResponse("/", 303)
        let_in.set_cookie(
            COOKIE,
            self.house.keys.cookie,
            max_age=int(KEY_LASTS_S),
            httponly=True,
            samesite="strict",
        )
        return let_in

    async def trouble(self, request: Request, error: Exception) -> Response:
        """What cannot be done, in words, with a way back."""
        assert isinstance(error, AsleftError)  # noqa: S101 - only these are sent here
        back = request.headers.get("referer", "/")
        origin = f"http://{request.headers.get('host', '')}/"
        context = {
            "error": error.to_dict(),
            "back": back if back.startswith(origin) else "/",
            "about": request.path_params.get("machine"),
        }
        return self._page(request, "trouble.html", context, status=409)

    async def nowhere(self, request: Request, _error: Exception | None) -> Response:
        """An address that is none of ours."""
        error = {"message": "There is no such sheet", "hint": "Begin at the workshop."}
        context = {"error": error, "back": "/", "about": None}
        return self._page(request, "trouble.html", context, status=404)

    def _page(
        self, request: Request, template: str, context: Mapping[str, Any], *, status: int = 200
    ) -> Response:
        shared: dict[str, Any] = {
            "token": self.house.keys.token,
            "version": self.house.live.version,
            "practice": self.house.practice,
            "lan": self.house.lan,
            "machine": None,
            "others": [],
            "several": len(self.house.at_work()) > 1,
            "sheet": template.removesuffix(".html"),
        }
        response: Response = self._templates.TemplateResponse(
            request,
            template,
            {**shared, **context},
            status_code=status,
            headers={"cache-control": "no-store"},
        )
        return response

    async def _ours(self, request: Request, limit: int) -> dict[str, str]:
        """A form of ours.

        Raises:
            HTTPException: it is not, or too large, or no form.
        """
        form = await read_form(request, limit)
        if not self.house.keys.is_ours(form.pop("token", "")):
            raise HTTPException(403, "This form is not one of this page's own.")
        return form


def _file(content: bytes, name: str, kind: str) -> Response:
    """A file to keep, never shown in the page's own place."""
    disposition = f'attachment; filename="{name}"'
    return Response(content, media_type=kind, headers={"content-disposition": disposition})


def _path_of(machine: str, sheet: str, *, stale: bool = False) -> str:
    """The address of a machine's sheet."""
    return f"/m/{quote(machine, safe='')}/{sheet}" + ("?stale=1" if stale else "")
