"""Pairing a tablet with the dashboard: a code read off this machine's screen, used once.

Codes and sessions live in memory only: ending the server ends every session. What is kept of a
session is a hash of its token.
"""

from __future__ import annotations

import hashlib
import hmac
import html
import secrets
import threading
import time
from collections.abc import Callable

import flask

COOKIE = "swingspread-session"
PAIR_PATH = "/pair"
SESSION_S = 12 * 3600
"""A day on the range."""
CODE_S = 600
TRIES = 5
PAUSE_S = 30.0
"""No code is taken for this long after TRIES wrong ones."""

_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
_LENGTH = 8


class Pairing:
    """Codes given out and devices paired.

    names : host names this machine is addressed by from the network. show : says a new code to
    the person at this machine. clock : seconds, monotonic.
    """

    def __init__(
        self,
        names: frozenset[str],
        show: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.names = names
        self._show = show
        self._clock = clock
        self._lock = threading.Lock()
        self._sessions: dict[str, float] = {}
        self._wrong = 0
        self._closed_until = 0.0
        self._code, self._code_until = "", 0.0

    def offer(self) -> None:
        """Make a code and show it; the code before it is worth nothing any more."""
        with self._lock:
            self._renew()

    def _renew(self) -> None:
        self._code = "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
        self._code_until = self._clock() + CODE_S
        self._wrong = 0
        self._show(f"{self._code[:4]}-{self._code[4:]}")

    def open(self) -> bool:
        """Whether a code may be tried now; makes a new one when the last has grown old."""
        with self._lock:
            return self._open()

    def _open(self) -> bool:
        if self._clock() < self._closed_until:
            return False
        if self._clock() >= self._code_until:
            self._renew()
        return True

    def pair(self, typed: str) -> str | None:
        """A session token for the right code, which is then spent; None for a wrong one."""
        plain = "".join(letter for letter in typed.upper() if letter.isalnum())
        with self._lock:
            if not self._open():
                return None
            if not hmac.compare_digest(plain.encode(), self._code.encode()):
                self._wrong += 1
                if self._wrong >= TRIES:
                    self._closed_until = self._clock() + PAUSE_S
                    self._code_until = 0.0
                return None
            token = secrets.token_urlsafe(32)
            self._sessions[_hash(token)] = self._clock() + SESSION_S
            self._renew()
            return token

    def knows(self, token: str) -> bool:
        """Whether the token belongs to a session that has not run out."""
        with self._lock:
            return self._sessions.get(_hash(token), -1.0) > self._clock()


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Pair with Swingspread</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>body{{font:1.2rem system-ui,sans-serif;max-width:30rem;margin:12vh auto;padding:0 1rem;
color:#1b1f24;background:#fff}}label{{display:block;font-weight:600}}input,button{{font:inherit;
padding:.6rem .8rem;margin-top:.5rem;border:2px solid #55606b;border-radius:.4rem}}
button{{background:#1b1f24;color:#fff}}</style></head>
<body><main><h1>Pair this device</h1>
<p>Type the code shown where <code>swingspread serve</code> runs. It can be used once.</p>
<form method="post" action="{path}"><label for="code">Code</label>
<input id="code" name="code" autocomplete="off" autocapitalize="characters" autofocus
 maxlength="20"> <button>Pair</button></form>
<p role="status">{words}</p></main></body></html>"""

WRONG = "That is not the code. Look again: after a few wrong ones a new code is made."
PAUSED = "Too many wrong codes. Wait half a minute; a new code will then be shown."


def add_pairing_page(server: flask.Flask, pairing: Pairing) -> None:
    """The page where a device types its code, and the answer to it."""

    @server.get(PAIR_PATH)
    def ask() -> flask.Response:
        return _page("" if pairing.open() else PAUSED)

    @server.post(PAIR_PATH)
    def answer() -> flask.Response:
        token = pairing.pair(flask.request.form.get("code", "")[:64])
        if token is None:
            return _page(WRONG if pairing.open() else PAUSED, 403)
        response = flask.Response(status=303, headers={"Location": "/"})
        response.set_cookie(
            COOKIE, token, max_age=SESSION_S, httponly=True, samesite="Strict", path="/"
        )
        return response


def _page(words: str, status: int = 200) -> flask.Response:
    page = _PAGE.format(path=PAIR_PATH, words=html.escape(words))
    response = flask.Response(page, status=status, mimetype="text/html")
    response.headers["Content-Security-Policy"] = (
        "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; "
        "frame-ancestors 'none'; base-uri 'none'"
    )
    return response
