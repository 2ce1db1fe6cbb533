"""The page of a day over HTTP: the page itself, what changes, the answers it gives, and results to open or save."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from jointload.day_page.acts import act
from jointload.day_page.document import ASSETS, asset, page_of, trial_fragment, trials_fragment
from jointload.day_page.guard import Guard
from jointload.day_page.hub import Hub
from jointload.day_page.results import HARMLESS, KINDS, SAVED, may_be_handed_out

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from jointload.day.engine import Day

MOST_BYTES = 4096
"""Of an answer."""
OWN = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src data:; base-uri 'none'; "
    "form-action 'none'; "
    "frame-ancestors 'none'"
)
"""What a browser loads for the page: its own style and script, its own events."""
HEADERS = {
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "content-security-policy": OWN,
}


def day_app(day: Day, folder: Path, guard: Guard, hub: Hub) -> Any:
    """The application; every request passes the guard first.

    folder : that of the study, the only one of which files are handed out
    """
    from starlette.applications import Starlette
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, StreamingResponse
    from starlette.responses import Response as Plain
    from starlette.routing import Route

    async def first(request: Request) -> Response:
        return HTMLResponse(await run_in_threadpool(lambda: page_of(day.state())))

    async def own(request: Request) -> Response:
        name = request.path_params["name"]
        return Plain(asset(name), media_type=ASSETS[name]) if name in ASSETS else missing()

    async def trials(request: Request) -> Response:
        return HTMLResponse(await run_in_threadpool(lambda: trials_fragment(day.state())))

    async def trial(request: Request) -> Response:
        try:
            found = await run_in_threadpool(day.trial, request.path_params["name"])
        except KeyError:
            return missing()
        return HTMLResponse(await run_in_threadpool(lambda: trial_fragment(day.state(), found)))

    def missing() -> Response:
        return PlainTextResponse("not found", 404)

    async def events(request: Request) -> Response:
        return StreamingResponse(hub.stream(), media_type="text/event-stream")

    async def acted(request: Request) -> Response:
        try:
            chosen = await _chosen(request)
        except ValueError as fault:
            return JSONResponse({"problem": str(fault)}, 400)
        problem = await run_in_threadpool(act, day, chosen)
        return JSONResponse({"problem": problem}, 409 if problem else 200)

    async def result(request: Request) -> Response:
        try:
            path = await run_in_threadpool(day.file, request.path_params["key"])
            content = await run_in_threadpool(path.read_bytes) if may_be_handed_out(path, folder) else None
        except (KeyError, OSError):
            return missing()
        if content is None:
            return missing()
        kind = path.suffix.lower()
        found = Plain(content, media_type=KINDS[kind])
        found.headers["content-security-policy"] = HARMLESS
        if kind in SAVED:
            found.headers["content-disposition"] = f"attachment; filename*=UTF-8''{quote(path.name)}"
        return found

    routes = [
        Route("/", first, methods=["GET"]),
        Route("/page/{name}", own, methods=["GET"]),
        Route("/trials", trials, methods=["GET"]),
        Route("/trial/{name:path}", trial, methods=["GET"]),
        Route("/events", events, methods=["GET"]),
        Route("/act", acted, methods=["POST"]),
        Route("/results/{key:path}", result, methods=["GET"]),
    ]
    return _guarded(Starlette(routes=routes), guard)


async def _chosen(request: Request) -> dict[str, str]:
    """The answer in the body; ValueError where it is none."""
    if request.headers.get("content-type", "").partition(";")[0] != "application/json":
        raise ValueError("an answer is JSON")
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > MOST_BYTES:
            raise ValueError("too long for an answer")
    chosen = json.loads(body)
    if not isinstance(chosen, dict) or not all(isinstance(word, str) for word in chosen.values()):
        raise ValueError("an answer is words by their names")
    return chosen


def _guarded(inner: Any, guard: Guard) -> Any:
    """The same application for those that the guard lets in, with the headers of every response."""
    from starlette.datastructures import Headers, MutableHeaders
    from starlette.requests import Request
    from starlette.responses import PlainTextResponse, RedirectResponse

    async def outer(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return

        async def sending(message: Any) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        request = Request(scope)
        handed = request.query_params.get("key", "")
        refused = guard.refuses(scope["method"], Headers(scope=scope), handed or request.cookies.get(guard.cookie, ""))
        if refused:
            await PlainTextResponse(f"jointload: {refused}\n", 403)(scope, receive, sending)
        elif handed and guard.key and scope["method"] == "GET":
            into = RedirectResponse("/", 303)
            into.set_cookie(guard.cookie, handed, httponly=True, samesite="strict")
            await into(scope, receive, sending)
        else:
            await inner(scope, receive, sending)

    return outer
