"""Whatever stands in the address bar, the server answers with a page or a plain sentence."""

from __future__ import annotations

import json
import time
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.main import PAGES, create_app
from app.store import Store
from imu.variation.selection_words import parse_selection

BASE = "http://127.0.0.1:8050"
SLOWEST_S = 20.0
HOSTILE = "<img src=x onerror=alert(1)>"
NAMES = (
    "recordings",
    "recording",
    "swing",
    "against",
    "a",
    "b",
    "who",
    "metric",
    "align",
    "pick",
    "kind",
    "limit",
    "save",
    "show",
    "curve",
)
ODD = (
    "",
    ",",
    ",,,",
    "..",
    "../../etc/passwd",
    "%00",
    "\x00",
    "-1",
    "0",
    "1e308",
    "nan",
    "inf",
    "9" * 400,
    "set:",
    "set:nobody",
    "player=Ada",
    HOSTILE,
    "=1+1",
    "\u202e",
    "\ud7ff",
    "release_ms",
    "impact",
)


@pytest.fixture(scope="module")
def client(small: Store) -> FlaskClient:
    return create_app(small).server.test_client()


def shown(client: FlaskClient, path: str, search: str) -> str:
    """What the callback that chooses the page answers."""
    asked: dict[str, Any] = {
        "output": "..content.children...page-title.data..",
        "outputs": [
            {"id": "content", "property": "children"},
            {"id": "page-title", "property": "data"},
        ],
        "inputs": [
            {"id": "address", "property": "pathname", "value": path},
            {"id": "refresh", "property": "data", "value": 0},
        ],
        "changedPropIds": ["address.pathname"],
        "state": [
            {"id": "address", "property": "search", "value": search},
            {"id": "address", "property": "href", "value": ""},
        ],
    }
    begun = time.monotonic()
    answer = client.post(
        "/_dash-update-component", json=asked, base_url=BASE, headers={"Origin": BASE}
    )
    assert answer.status_code == 200, (path, search)
    assert time.monotonic() - begun < SLOWEST_S
    assert "Traceback" not in answer.text
    json.loads(answer.text)
    return answer.text


def values(small: Store) -> st.SearchStrategy[str]:
    ids = [entry.id for entry in small.entries()]
    known = st.sampled_from([*ids, ids[0][:6], ",".join(ids), f"{ids[0]},{ids[0]}", *ODD])
    return known | st.text(max_size=30)


@settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_address_is_answered(client: FlaskClient, small: Store, data: st.DataObject) -> None:
    path = data.draw(
        st.sampled_from([page.PATH for page in PAGES]) | st.text(max_size=20).map("/".__add__)
    )
    query = data.draw(st.dictionaries(st.sampled_from(NAMES), values(small), max_size=4))
    shown(client, path, "?" + urlencode(query, errors="replace"))


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(search=st.text(max_size=60))
def test_any_query_text_is_answered(client: FlaskClient, search: str) -> None:
    shown(client, "/session", search)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_file_asked_for_is_given_or_refused_in_words(
    client: FlaskClient, small: Store, data: st.DataObject
) -> None:
    names = (
        "swings.csv",
        "swings.parquet",
        "curves.parquet",
        "raw.zip",
        "motion-bids.zip",
        "report.html",
    )
    name = data.draw(st.sampled_from(names) | st.sampled_from(ODD) | st.text(max_size=20))
    query = data.draw(
        st.dictionaries(st.sampled_from(("recordings", "against", "save")), values(small))
    )
    answer = client.get(
        f"/files/{quote(name, safe='', errors='replace')}?{urlencode(query, errors='replace')}",
        base_url=BASE,
    )
    assert answer.status_code in (200, 308, 404, 409), (name, query, answer.status_code)
    assert b"Traceback" not in answer.data[:2000]


@pytest.mark.parametrize("path", [page.PATH for page in PAGES])
def test_a_hostile_name_stays_text_on_every_page(
    client: FlaskClient, small: Store, path: str
) -> None:
    """React escapes text; what could slip through is markup set as such, or a link that runs."""
    entry = next(one for one in small.entries() if HOSTILE in one.player)
    said = shown(client, path, f"?recordings={entry.id}&recording={entry.id}")
    assert "dangerously_allow_html" not in said
    assert "javascript:" not in said
    assert '"srcDoc"' not in said or "&lt;img" in said


def test_a_hostile_name_is_escaped_in_the_report(client: FlaskClient, small: Store) -> None:
    entry = next(one for one in small.entries() if HOSTILE in one.player)
    answer = client.get(f"/files/report.html?recordings={entry.id}", base_url=BASE)
    assert answer.status_code == 200
    assert HOSTILE not in answer.text and "<script" not in answer.text


def test_a_hostile_name_cannot_split_a_header(client: FlaskClient, small: Store) -> None:
    entry = next(one for one in small.entries() if HOSTILE in one.player)
    answer = client.get(f"/files/swings.csv?recordings={entry.id}", base_url=BASE)
    assert answer.status_code == 200
    named = answer.headers["Content-Disposition"]
    assert named.isascii() and "<" not in named and named.count('"') == 2


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    body=st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(max_size=8),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["output", "inputs", "state", "changedPropIds"])
                | st.text(max_size=8),
                inner,
                max_size=4,
            )
        ),
        max_leaves=8,
    )
)
def test_any_json_sent_as_a_callback_changes_nothing(client: FlaskClient, body: Any) -> None:
    answer = client.post(
        "/_dash-update-component",
        data=json.dumps(body),
        content_type="application/json",
        base_url=BASE,
        headers={"Origin": BASE},
    )
    assert answer.status_code in (400, 500)
    assert b"Traceback" not in answer.data
    assert b"File &quot;" not in answer.data


@settings(max_examples=300, deadline=2000)
@given(
    st.text(max_size=60)
    | st.lists(
        st.tuples(
            st.sampled_from(["player", "club", "block", "since", "date", "kind", "quality", "x"]),
            st.sampled_from(["=", "==", " = ", ""]),
            st.sampled_from(["Ada", "a|b", "|", "", "2026-03-01", "2026-13-01", "ball"])
            | st.text(max_size=9),
        ).map("".join),
        max_size=4,
    ).map(",".join)
)
def test_any_selection_is_read_or_refused(text: str) -> None:
    from imu.errors import SwingspreadError
    from imu.variation.selection_words import write_selection

    try:
        read = parse_selection(text)
    except SwingspreadError as problem:
        assert str(problem)
        return
    if line := write_selection(read):
        assert parse_selection(line) == read
