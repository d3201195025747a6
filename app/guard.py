"""Who may ask the dashboard, and what its answers allow a browser to do.

Four checks on every request: the name it was addressed to (against rebinding of names), where it
comes from (against other sites' pages asking in this browser's stead), what it carries, and, from
another machine, that it was paired. Every answer forbids the browser to load from or talk to
anything but this server.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Sequence

import flask

from app.pairing import COOKIE, PAIR_PATH, Pairing, add_pairing_page

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})
LARGEST_REQUEST = 400 << 20
"""Bytes of one request: two long CSV files as a browser sends them."""
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

_INLINE_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_CACHEABLE = ("/assets/", "/_dash-component-suites/")
_PERMISSIONS = ("camera", "microphone", "geolocation", "payment", "usb", "bluetooth", "midi")


def add_guard(server: flask.Flask, pairing: Pairing | None = None) -> None:
    """Check every request. pairing : who else than this machine may ask; None for nobody."""
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_REQUEST
    names = LOOPBACK_NAMES | (pairing.names if pairing else frozenset())

    @server.before_request
    def check() -> flask.Response | None:
        request = flask.request
        if host_name(request.host) not in names:
            return _refused("This dashboard answers only on this machine.")
        if not _at_home(request) and not _paired(request, pairing):
            if pairing is None:
                return _refused("This dashboard answers only on this machine.")
            if request.method in SAFE_METHODS and "text/html" in request.headers.get("Accept", ""):
                if request.path != PAIR_PATH:
                    return flask.Response(status=303, headers={"Location": PAIR_PATH})
            elif request.path != PAIR_PATH:
                return _refused("Pair this device first: open the start page.")
        if request.method not in SAFE_METHODS:
            return _check_change(request)
        return None

    if pairing is not None:
        add_pairing_page(server, pairing)


def host_name(host: str) -> str:
    """The name in a Host header, without its port."""
    return re.sub(r":\d*$", "", host).lower()


def same_origin(request: flask.Request) -> bool:
    """Whether the request comes from a page of this very server, as the browser says.

    Browsers say it by Sec-Fetch-Site where the connection counts as safe, and by Origin with
    every POST; a page of another site can forge neither.
    """
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None and site != "same-origin":
        return False
    origin = request.headers.get("Origin")
    if origin is None:
        return site is not None
    return origin == f"{request.scheme}://{request.host}"


def _check_change(request: flask.Request) -> flask.Response | None:
    if not same_origin(request):
        return _refused("Asked from another site; nothing was changed.")
    if request.path == PAIR_PATH:
        return None
    if request.mimetype != "application/json":
        return _refused("Only JSON is taken here; nothing was changed.", 415)
    body = request.get_json(silent=True)
    if request.path == "/_dash-update-component" and not _is_callback(body):
        return _refused("Not what a page of this dashboard sends; nothing was changed.", 400)
    return None


def _is_callback(body: object) -> bool:
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return False
    return all(isinstance(body.get(name, []), list) for name in ("inputs", "state"))


def _at_home(request: flask.Request) -> bool:
    """Asked by this machine, of this machine."""
    return request.remote_addr in ("127.0.0.1", "::1") and host_name(request.host) in LOOPBACK_NAMES


def _paired(request: flask.Request, pairing: Pairing | None) -> bool:
    return pairing is not None and pairing.knows(request.cookies.get(COOKIE, ""))


def _refused(words: str, status: int = 403) -> flask.Response:
    return flask.Response(words, status=status, mimetype="text/plain")


def script_hashes(index: str) -> list[str]:
    """Content-policy sources of the scripts that stand in the page itself."""
    found = []
    for script in _INLINE_SCRIPT.findall(index):
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        found.append(f"'sha256-{digest}'")
    return found


def content_policy(scripts: Sequence[str]) -> str:
    """The content policy of the pages.

    scripts : sources of the inline scripts. Styles may stand in elements: plotly and the
    components place them so. Nothing may come from, or go to, anywhere but this server.
    """
    rules = {
        "default-src": "'none'",
        "script-src": " ".join(("'self'", *scripts)),
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "connect-src": "'self'",
        "frame-src": "'self'",
        "worker-src": "'self' blob:",
        "media-src": "'self' data:",
        "frame-ancestors": "'self'",
        "form-action": "'self'",
        "base-uri": "'none'",
        "object-src": "'none'",
    }
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def add_headers(server: flask.Flask, scripts: Callable[[], Sequence[str]]) -> None:
    """Send the content policy and its like with every answer. scripts : see `content_policy`,
    asked once, when all callbacks are known."""
    known: list[str] = []

    @server.after_request
    def headers(response: flask.Response) -> flask.Response:
        if not known:
            known.append(content_policy(scripts()))
        sent = response.headers
        sent.setdefault("Content-Security-Policy", known[0])
        sent["X-Content-Type-Options"] = "nosniff"
        sent["X-Frame-Options"] = "SAMEORIGIN"
        sent["Referrer-Policy"] = "same-origin"
        sent["Cross-Origin-Resource-Policy"] = "same-origin"
        sent["Permissions-Policy"] = ", ".join(f"{name}=()" for name in _PERMISSIONS)
        if host_name(flask.request.host) in LOOPBACK_NAMES:
            sent["Cross-Origin-Opener-Policy"] = "same-origin"
        if not flask.request.path.startswith(_CACHEABLE):
            sent["Cache-Control"] = "no-store"
        return response
