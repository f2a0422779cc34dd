"""Guard: every request passes here before any page sees it.

A page of some other site, open in the same browser, can send requests to this computer. It
cannot forge `Host` and `Origin`, nor read the session's token. All three are asked for. What is
refused is told in one line, and nothing is done.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, PlainTextResponse, Response

from tautlog.desk.admission import Admission

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

ENTRANCE = "/enter"
VISITOR = "tautlog.visitor"
FORM_BYTES = 256_000
UPLOAD_BYTES = 100_000_000
MOST_URL_BYTES = 8_000
UPLOAD_END = "/photos"
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-src 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
# Not `no-referrer`: with it browsers send `Origin: null` with a form.
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
# A cookie that is `Strict` is not sent on a way that began on another site, such as a chat: the
# entrance is left by a step of its own.
_COME_IN = (
    '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>tautlog desk</title>'
    '<link rel="icon" href="data:,"><meta http-equiv="refresh" content="0; url=/"></head>'
    '<body><p><a href="/">Open the desk</a></p></body></html>'
)
_NO_SESSION = (
    "This desk does not know your browser. Open the link that `tautlog desk` printed: a new start "
    "of the desk makes a new link."
)


@dataclass(frozen=True)
class Place:
    """Where a desk answers.

    Attributes
    ----------
    hosts : frozenset of str
        Names with port by which browsers may ask for it.
    """

    hosts: frozenset[str]

    @property
    def origins(self) -> frozenset[str]:
        """Origins of its own pages."""
        return frozenset(f"http://{host}" for host in self.hosts)


class Guard:
    """Lets requests of known visitors through to the pages.

    Parameters
    ----------
    app : ASGI application
        The pages.
    admission : Admission
        Who may come, and what they may do.
    place : Place
        Where this desk answers.
    """

    def __init__(self, app: ASGIApp, admission: Admission, place: Place) -> None:
        self._app = app
        self._admission = admission
        self._place = place

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        told = _with_headers(send)
        answer = self._answer(scope)
        if answer is not None:
            await answer(scope, receive, told)
            return
        await self._app(scope, _limited(receive, _most_bytes(scope)), told)

    def _answer(self, scope: Scope) -> Response | None:
        """A refusal, or the entrance; None if the pages answer."""
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        if refused is not None:
            return refused
        if scope["path"] == ENTRANCE:
            return self._entrance(scope)
        visitor = self._admission.visitor(headers.get("cookie", ""))
        if visitor is None:
            return _no(_NO_SESSION)
        if scope["method"] == "POST" and not visitor.may_enter:
            return _no("Watchers look; they enter nothing. Ask the crew at the desk.")
        scope[VISITOR] = visitor
        return None

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        """Why a request is refused whoever sends it, or None."""
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return PlainTextResponse("Allowed are GET, HEAD and POST.", 405)
        if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > MOST_URL_BYTES:
            return PlainTextResponse("The address is too long.", 414)
        if headers.getlist("host") != [headers.get("host", "")] or (
            headers.get("host", "").lower() not in self._place.hosts
        ):
            here = " or ".join(sorted(self._place.origins))
            return _no(f"This desk answers at {here}, and under no other name.")
        origins = headers.getlist("origin")
        if any(origin.lower() not in self._place.origins for origin in origins):
            return _no("This request comes from a page of another place.")
        if scope["method"] == "POST" and not origins:
            return _no("This entry does not say from which page it comes.")
        if _declared_bytes(headers) > _most_bytes(scope):
            return PlainTextResponse(f"More than {_most_bytes(scope)} bytes are not taken.", 413)
        return None

    def _entrance(self, scope: Scope) -> Response:
        """Give a session to whoever brings the secret."""
        if scope["method"] == "POST":
            return PlainTextResponse("The entrance takes a link, no entries.", 405)
        asked = parse_qs(scope["query_string"].decode("ascii", "replace"))
        session = self._admission.enter(asked.get("key", [""])[0])
        if session is None:
            return _no(_NO_SESSION)
        return HTMLResponse(_COME_IN, headers={"Set-Cookie": self._admission.cookie(session)})


def _no(text: str) -> Response:
    return PlainTextResponse(text, 403)


def _most_bytes(scope: Scope) -> int:
    """How large a body may be: photos are large, forms are not."""
    if scope["method"] != "POST":
        return 0
    return UPLOAD_BYTES if scope["path"].endswith(UPLOAD_END) else FORM_BYTES


def _declared_bytes(headers: Headers) -> int:
    text = headers.get("content-length", "0")
    # Digits that are none in ASCII, or a sign, are no length.
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else 1 << 60


def _limited(receive: Receive, most: int) -> Receive:
    """Count the bytes of a body, whatever it declares."""
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise HTTPException(413, f"More than {most} bytes are not taken.")
        return message

    return counted


def _with_headers(send: Send) -> Send:
    """Add the headers that every answer has, unless it brings its own."""

    async def told(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return told
