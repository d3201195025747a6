"""Who may ask the dashboard. The rules are those of the OWASP cheat sheets (Cross-Site Request
Forgery Prevention; HTTP Headers; Session Management) and of the W3C's Fetch Metadata and Content
Security Policy Level 3."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from app.main import INDEX, create_app
from app.pairing import CODE_S, COOKIE, PAUSE_S, SESSION_S, TRIES, Pairing
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library

TABLET = {"REMOTE_ADDR": "192.168.7.20"}
LAN = "http://192.168.7.5:8050"
CALLBACK: dict[str, Any] = {
    "output": "..content.children...page-title.data..",
    "outputs": [
        {"id": "content", "property": "children"},
        {"id": "page-title", "property": "data"},
    ],
    "inputs": [
        {"id": "address", "property": "pathname", "value": "/settings"},
        {"id": "refresh", "property": "data", "value": 0},
    ],
    "changedPropIds": ["address.pathname"],
    "state": [
        {"id": "address", "property": "search", "value": ""},
        {"id": "address", "property": "href", "value": ""},
    ],
}


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(LibraryShelf(Library(tmp_path / "library")))


@pytest.fixture
def here(store: Store) -> FlaskClient:
    """This machine's browser."""
    return create_app(store).server.test_client()


@pytest.fixture
def codes() -> list[str]:
    return []


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def tablet(store: Store, codes: list[str], clock: Clock) -> FlaskClient:
    """A tablet on the network, not paired yet."""
    pairing = Pairing(frozenset({"192.168.7.5"}), codes.append, clock)
    pairing.offer()
    return create_app(store, pairing).server.test_client()


def post(client: FlaskClient, base: str = "http://127.0.0.1:8050", **headers: str) -> int:
    return client.post(
        "/_dash-update-component",
        json=CALLBACK,
        base_url=base,
        headers={name.replace("_", "-"): value for name, value in headers.items()},
    ).status_code


def test_the_page_itself_may_ask_for_changes(here: FlaskClient) -> None:
    assert post(here, Origin="http://127.0.0.1:8050", Sec_Fetch_Site="same-origin") == 200
    assert post(here, Origin="http://127.0.0.1:8050") == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "null"},
        {"Origin": "http://elsewhere.example"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "https://127.0.0.1:8050"},
        {"Origin": "http://127.0.0.1:8050", "Sec_Fetch_Site": "cross-site"},
        {"Origin": "http://127.0.0.1:8050", "Sec_Fetch_Site": "same-site"},
        {"Origin": "http://elsewhere.example", "Sec_Fetch_Site": "same-origin"},
        {"Sec_Fetch_Site": "none"},
    ],
)
def test_another_sites_page_may_not(here: FlaskClient, headers: dict[str, str]) -> None:
    assert post(here, **headers) == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_every_method_that_changes_is_checked(here: FlaskClient, method: str) -> None:
    answer = here.open("/", method=method, base_url="http://127.0.0.1:8050", json={})
    assert answer.status_code == 403


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded"])
def test_a_form_cannot_pass_for_a_callback(here: FlaskClient, kind: str) -> None:
    answer = here.post(
        "/_dash-update-component",
        data="{}",
        content_type=kind,
        base_url="http://127.0.0.1:8050",
        headers={"Origin": "http://127.0.0.1:8050"},
    )
    assert answer.status_code == 415


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "192.168.7.5", "0.0.0.0", "[::]"]
)
def test_a_name_made_to_point_here_is_refused(here: FlaskClient, host: str) -> None:
    assert here.get("/", base_url=f"http://{host}:8050").status_code == 403


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "LOCALHOST", "[::1]"])
def test_this_machines_own_names_are_taken(here: FlaskClient, host: str) -> None:
    assert here.get("/", base_url=f"http://{host}:8050").status_code == 200


def test_another_machine_is_refused_without_pairing(here: FlaskClient) -> None:
    assert here.get("/", base_url="http://127.0.0.1:8050", environ_base=TABLET).status_code == 403


def test_the_content_policy_lets_nothing_in_or_out(here: FlaskClient) -> None:
    answer = here.get("/", base_url="http://127.0.0.1:8050")
    policy = dict(
        rule.split(" ", 1) for rule in answer.headers["Content-Security-Policy"].split("; ")
    )
    assert policy["default-src"] == "'none'"
    assert policy["connect-src"] == "'self'"
    assert policy["object-src"] == policy["base-uri"] == "'none'"
    scripts = policy["script-src"].split()
    assert "'unsafe-inline'" not in scripts and "'unsafe-eval'" not in scripts
    assert all(one == "'self'" or one.startswith("'sha256-") for one in scripts)
    assert not re.search(r"https?:|\*", answer.headers["Content-Security-Policy"])
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "no-store"
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_no_inline_script_goes_without_its_hash(here: FlaskClient) -> None:
    import base64
    import hashlib

    answer = here.get("/", base_url="http://127.0.0.1:8050")
    scripts = re.findall(
        r"<script(?![^>]*(?:src=|application/json))[^>]*>(.*?)</script>", answer.text, re.DOTALL
    )
    assert scripts and scripts[0] in INDEX
    for script in scripts:
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in answer.headers["Content-Security-Policy"]


def pair(tablet: FlaskClient, code: str) -> Any:
    return tablet.post(
        "/pair",
        data={"code": code},
        base_url=LAN,
        environ_base=TABLET,
        headers={"Origin": LAN},
    )


def look(tablet: FlaskClient, path: str = "/") -> int:
    return tablet.get(
        path, base_url=LAN, environ_base=TABLET, headers={"Accept": "text/html"}
    ).status_code


def test_a_tablet_sees_nothing_before_it_is_paired(tablet: FlaskClient) -> None:
    answer = tablet.get("/", base_url=LAN, environ_base=TABLET, headers={"Accept": "text/html"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/pair")
    for path in ("/_dash-layout", "/_dash-dependencies", "/files/swings.csv?recordings=a"):
        assert tablet.get(path, base_url=LAN, environ_base=TABLET).status_code == 403
    asked = tablet.post(
        "/_dash-update-component",
        json=CALLBACK,
        base_url=LAN,
        environ_base=TABLET,
        headers={"Origin": LAN},
    )
    assert asked.status_code == 403
    assert look(tablet, "/pair") == 200


def test_the_code_opens_once(tablet: FlaskClient, store: Store, codes: list[str]) -> None:
    answer = pair(tablet, f" {codes[0].lower()} ")
    assert answer.status_code == 303
    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert look(tablet) == 200
    tablet.delete_cookie(COOKIE, domain="192.168.7.5")
    assert look(tablet) == 303
    assert pair(tablet, codes[0]).status_code == 403
    assert len(codes) == 2 and codes[0] != codes[1]


def test_a_session_ends_after_a_day_on_the_range(
    tablet: FlaskClient, codes: list[str], clock: Clock
) -> None:
    pair(tablet, codes[0])
    clock.now = SESSION_S - 1
    assert look(tablet) == 200
    clock.now = SESSION_S + 1
    assert look(tablet) == 303


def test_an_old_code_is_worth_nothing(tablet: FlaskClient, codes: list[str], clock: Clock) -> None:
    clock.now = CODE_S + 1
    assert pair(tablet, codes[0]).status_code == 403
    assert pair(tablet, codes[1]).status_code == 303


def test_guessing_is_stopped(tablet: FlaskClient, codes: list[str], clock: Clock) -> None:
    for _ in range(TRIES):
        assert pair(tablet, "AAAA-AAAA").status_code == 403
    assert pair(tablet, codes[0]).status_code == 403
    clock.now = PAUSE_S + 1
    assert pair(tablet, codes[0]).status_code == 403
    assert pair(tablet, codes[-1]).status_code == 303


@pytest.mark.parametrize("code", ["", "é" * 9, "\x00", "x" * 5000, "<script>alert(1)</script>"])
def test_nonsense_for_a_code_is_only_wrong(tablet: FlaskClient, code: str) -> None:
    answer = pair(tablet, code)
    assert answer.status_code == 403
    assert "<script>" not in answer.text


def test_a_code_sent_by_another_sites_page_is_not_taken(
    tablet: FlaskClient, codes: list[str]
) -> None:
    answer = tablet.post(
        "/pair",
        data={"code": codes[0]},
        base_url=LAN,
        environ_base=TABLET,
        headers={"Origin": "http://elsewhere.example"},
    )
    assert answer.status_code == 403
    assert pair(tablet, codes[0]).status_code == 303


def test_this_machine_needs_no_code(tablet: FlaskClient) -> None:
    assert tablet.get("/", base_url="http://127.0.0.1:8050").status_code == 200


def test_another_machine_cannot_say_it_is_this_one(tablet: FlaskClient) -> None:
    answer = tablet.get(
        "/_dash-layout",
        base_url="http://127.0.0.1:8050",
        environ_base=TABLET,
        headers={"X-Forwarded-For": "127.0.0.1", "Forwarded": "for=127.0.0.1"},
    )
    assert answer.status_code == 403


def test_no_token_is_kept_or_logged(
    tablet: FlaskClient,
    codes: list[str],
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
) -> None:
    caplog.set_level(0)
    token = re.search(rf"{COOKIE}=([^;]+)", pair(tablet, codes[0]).headers["Set-Cookie"])
    assert token is not None
    look(tablet)
    said = capfd.readouterr()
    for text in (caplog.text, said.out, said.err):
        assert token[1] not in text and codes[0] not in text
