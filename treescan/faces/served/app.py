"""Which address gives which answer? The page, its parts, and what it asks of a desk."""

from __future__ import annotations

import asyncio
import json
import re
import shutil
import tempfile
from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from treescan.errors import BadInput, TreescanError
from treescan.faces.served import told
from treescan.faces.served.desk import FILES, Desk, sentence_of
from treescan.faces.served.gate import LARGEST_UPLOAD, Gate
from treescan.faces.served.places import CLOUDS, Named, base_of, one
from treescan.faces.served.scene import lines, points, scene, thrown
from treescan.faces.served.tracing import Tracing
from treescan.faces.session.changes import Change
from treescan.outputs.text.say import text
from treescan.throw.ballistics.own_record import OwnSpread, own_spread, read_record

PAGE = Path(__file__).parent / "page"
REPORT = Path(told.__file__).parents[2] / "outputs" / "report" / "page"
PARTS = {"planner.css": PAGE, "planner.js": PAGE, "view.js": PAGE, "stage.js": REPORT, "three.min.js": REPORT}
PATIENCE = 15.0
"""The longest a browser is left waiting for news. [s]"""
BROUGHT = "brought"
"""Folder of the clouds that the page brought."""
LARGEST_RECORD = 2_000_000
"""No record of own throws is larger. [bytes]"""
MOST_DESKS = 8
"""Trees that lie open at once; the one longest untouched is closed, its history is on disk."""


class House:
    """All that is served: what was named, the trees that lie open, the clouds that are being traced."""

    def __init__(self, named: tuple[Named, ...], folder: Path) -> None:
        self.folder = folder
        brought = (one(p) for p in sorted((folder / BROUGHT).glob("*")) if p.suffix.lower() in CLOUDS and not p.name.startswith("."))
        self.named = {n.key: n for n in (*named, *brought)}
        self.desks: dict[str, Desk] = {}
        self.tracings: dict[str, Tracing] = {}
        self._lock = asyncio.Lock()

    def place(self, key: str) -> Path:
        """Folder of one tree."""
        return self.folder / key

    def found(self, key: str) -> Named:
        """What was named so; BadInput for another key."""
        if key not in self.named:
            raise BadInput("there is no such tree here")
        return self.named[key]

    def tree_file(self, key: str) -> Path | None:
        """The tree.json of a named tree or of a traced cloud; None where it is not traced yet."""
        named = self.found(key)
        if named.traced:
            return named.file
        made = self.place(key) / "traced" / "tree.json"
        return made if made.exists() else None

    async def desk(self, key: str) -> Desk:
        """The desk of one tree, opened where it is not."""
        if key in self.desks:
            self.desks[key] = self.desks.pop(key)
            return self.desks[key]
        async with self._lock:
            if key in self.desks:
                return self.desks[key]
            file = self.tree_file(key)
            if file is None:
                raise BadInput("the cloud is not traced yet", remedy="trace it first")
            desk = await run_in_threadpool(Desk, file, self.place(key), base_of(file))
            self.desks[key] = desk
            while len(self.desks) > MOST_DESKS:
                oldest = next(iter(self.desks))
                await run_in_threadpool(self.desks.pop(oldest).close)
            return desk

    def trace(self, key: str) -> Tracing:
        """Start tracing a cloud, or go on with it."""
        named = self.found(key)
        running = self.tracings.get(key)
        if running is None or running.progress.fault:
            running = Tracing(named.file, self.place(key) / "traced" / "tree.json", text("served_stopped"))
            self.tracings[key] = running
        return running

    def close(self) -> None:
        """Everything ends."""
        for tracing in self.tracings.values():
            if not tracing.progress.done and not tracing.progress.fault:
                tracing.stop()
        for desk in self.desks.values():
            desk.close()


Answer = Callable[[Request], Awaitable[Response]]


def made_app(house: House, gate: Gate, labels: dict[str, str]) -> Any:
    """The page and its answers behind the gate. `labels` : the words of the page, by code."""
    template = Environment(loader=FileSystemLoader(PAGE), autoescape=True).get_template("planner.html")

    def asked(answer: Answer) -> Answer:
        """Every fault of an answer as one sentence."""

        async def safe(request: Request) -> Response:
            try:
                return await answer(request)
            except BadInput as err:
                return JSONResponse({"fault": err.sentence()}, 400)
            except TreescanError as err:
                return JSONResponse({"fault": err.sentence()}, 500)
            except Exception as err:  # the last net
                return JSONResponse({"fault": sentence_of(err)}, 500)

        return safe

    async def front(request: Request) -> Response:
        if "token" in request.query_params:
            given = gate.lets_in(request.query_params["token"])
            return _entered(gate, given) if given else PlainTextResponse(text("served_no_token"), 403)
        if gate.known(dict(request.scope["headers"])):
            return HTMLResponse(template.render(words=labels, cautions=told.cautions(), door=False))
        if gate.password:
            return HTMLResponse(template.render(words=labels, cautions=told.cautions(), door=True), 401)
        return PlainTextResponse(text("served_no_token"), 403)

    async def enter(request: Request) -> Response:
        body = (await request.body()).decode("utf-8", "replace")
        given = gate.knows(str(_json(body).get("password", "")))
        return _entered(gate, given) if given else JSONResponse({"fault": text("served_wrong_password")}, 403)

    async def part(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in PARTS:
            return PlainTextResponse(text("served_wrong_path"), 404)
        return FileResponse(PARTS[name] / name, headers={"cache-control": "private, max-age=3600"})

    async def listed(_: Request) -> Response:
        rows = [n.plain() | {"ready": house.tree_file(n.key) is not None, "open": n.key in house.desks} for n in house.named.values()]
        return JSONResponse({"trees": rows})

    async def tracing(request: Request) -> Response:
        key = request.path_params["key"]
        house.found(key)
        if request.method == "POST":
            wish = (await _body(request)).get("wish")
            if wish == "stop" and key in house.tracings:
                await run_in_threadpool(house.tracings[key].stop)
            elif wish == "start":
                await run_in_threadpool(house.trace, key)
        running = house.tracings.get(key)
        return JSONResponse(running.progress.plain() if running else {"stage": "", "share": 0.0, "done": False, "fault": ""})

    async def state(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        since = int(request.query_params.get("since", "0")) if request.query_params.get("since", "0").isdigit() else 0
        if since == desk.version:
            await run_in_threadpool(desk.wait, since, PATIENCE)
        return JSONResponse(await run_in_threadpool(told.state, desk))

    async def shown(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        return JSONResponse(await run_in_threadpool(scene, desk.tree))

    async def scanned(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        return Response(points(desk.tree), media_type="application/octet-stream")

    async def chosen(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        a, number = desk.plan, request.path_params["number"]
        if a is None or not 0 <= number < len(a.points):
            raise BadInput("that candidate is not in the plan any more")
        return JSONResponse(await run_in_threadpool(lines, a, number))

    async def flights(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        found = desk.throws_told()
        return JSONResponse({"flights": [] if found is None else thrown(found[1])})

    async def union(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        a = desk.plan
        if a is None:
            raise BadInput("the plan is being worked out", remedy="ask again in a moment")
        return JSONResponse(await run_in_threadpool(told.asked_of, a, request.path_params["label"]))

    async def compared(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        names = [request.query_params.get(side, "") for side in ("one", "other")]
        inputs = [desk.history.of_name(n) for n in names]
        plans = [await run_in_threadpool(desk.answers.of, i) for i in inputs]
        return JSONResponse(await run_in_threadpool(told.compared, *plans))

    async def wished(request: Request) -> Response:
        desk, body = await house.desk(request.path_params["key"]), await _body(request)
        wish = body.get("wish")
        desk.looked_at = str(body.get("chosen") or "")
        if wish == "change":
            await run_in_threadpool(desk.change, Change(str(body.get("kind", "")), body.get("values") or {}))
        elif wish == "move" and isinstance(body.get("to"), int):
            await run_in_threadpool(desk.move, body["to"])
        elif wish == "name":
            await run_in_threadpool(desk.name, str(body.get("name", "")))
        elif wish in {"write", "stop"}:
            await run_in_threadpool(getattr(desk, wish))
        else:
            raise BadInput("that cannot be asked of the page")
        return JSONResponse(await run_in_threadpool(told.state, desk))

    async def written(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        name = request.path_params["name"]
        if name == "session.json":
            return FileResponse(desk.folder / name, filename=name) if (desk.folder / name).exists() else Response(status_code=404)
        if name not in desk.written:
            return PlainTextResponse(text("served_wrong_path"), 404)
        return FileResponse(desk.folder / FILES / name, filename=Path(name).name)

    async def own_throws(request: Request) -> Response:
        desk = await house.desk(request.path_params["key"])
        body = await request.body()
        spreads = await run_in_threadpool(_own_spreads, body, desk)
        methods = [{"method": s.method, "throws": s.throws, "spread": s.settings} for s in spreads]
        await run_in_threadpool(desk.change, Change("own throws", {"methods": methods}))
        return JSONResponse(await run_in_threadpool(told.state, desk))

    async def brought(request: Request) -> Response:
        return JSONResponse({"key": (await _kept(house, request)).key})

    @asynccontextmanager
    async def lifespan(_: Starlette) -> Any:
        yield
        house.close()

    routes = [
        Route("/", front),
        Route("/enter", asked(enter), methods=["POST"]),
        Route("/part/{name}", part),
        Route("/trees", asked(listed)),
        Route("/upload/{name}", asked(brought), methods=["PUT"]),
        Route("/trace/{key}", asked(tracing), methods=["GET", "POST"]),
        Route("/tree/{key}/state", asked(state)),
        Route("/tree/{key}/scene", asked(shown)),
        Route("/tree/{key}/points", asked(scanned)),
        Route("/tree/{key}/lines/{number:int}", asked(chosen)),
        Route("/tree/{key}/flights", asked(flights)),
        Route("/tree/{key}/union/{label}", asked(union)),
        Route("/tree/{key}/compare", asked(compared)),
        Route("/tree/{key}/wish", asked(wished), methods=["POST"]),
        Route("/tree/{key}/throws", asked(own_throws), methods=["PUT"]),
        Route("/tree/{key}/file/{name:path}", asked(written)),
    ]
    return gate.around(Starlette(routes=routes, lifespan=lifespan), text)


def _entered(gate: Gate, given: str) -> Response:
    out = RedirectResponse("/", 303)
    out.set_cookie(gate.cookie, given, httponly=True, samesite="strict", path="/")
    return out


def _json(body: str) -> dict[str, Any]:
    try:
        found = json.loads(body, parse_constant=lambda _: None)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise BadInput("the page sent what is no JSON object")
    return found


async def _body(request: Request) -> dict[str, Any]:
    return _json((await request.body()).decode("utf-8", "replace"))


def _own_spreads(body: bytes, desk: Desk) -> tuple[OwnSpread, ...]:
    """What a record of own throws says; BadInput where it is none."""
    if len(body) > LARGEST_RECORD:
        raise BadInput(f"the record of throws is larger than {LARGEST_RECORD // 1_000_000} MB")
    with tempfile.TemporaryDirectory() as folder:
        record = Path(folder) / "throws.csv"
        record.write_bytes(body)
        try:
            return own_spread(read_record(record), desk.history.inputs.all_settings().throw)
        except BadInput as err:
            raise BadInput(err.what, file=record.name, remedy=err.remedy) from err


async def _kept(house: House, request: Request) -> Named:
    """A cloud that the page brings: kept under its own name, never over another."""
    name = request.path_params["name"]
    if not re.fullmatch(r"[\w][\w .()-]{0,80}", name) or Path(name).suffix.lower() not in CLOUDS:
        raise BadInput("is no point cloud by its name", file=name[:80], remedy="LAS, LAZ, PLY, PCD, E57, XYZ, TXT, CSV or PTS")
    folder = house.folder / BROUGHT
    folder.mkdir(parents=True, exist_ok=True)
    target = next(t for i in range(10_000) if not (t := folder / (name if i == 0 else f"{i}-{name}")).exists())
    if shutil.disk_usage(folder).free < int(request.headers.get("content-length", 0)) + LARGEST_UPLOAD // 10:
        raise BadInput("the disk has too little room for it", file=name)
    part, size = target.with_name(f".part-{target.name}"), 0
    try:
        with part.open("wb") as out:
            async for chunk in request.stream():
                size += len(chunk)
                if size > LARGEST_UPLOAD:
                    raise BadInput(f"is larger than {LARGEST_UPLOAD // 1_000_000} MB", file=name, remedy="name it on the command line")
                out.write(chunk)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    found = one(target)
    house.named[found.key] = found
    return found
