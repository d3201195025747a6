"""Months of sessions on a page: the same trends as from whole analyses, and quick."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from invented_swings import invented_analysis

from app.derived import keep
from app.pages import progress as page
from app.preferences import Preferences
from app.shelf import LibraryShelf
from app.store import Store
from imu.columns import METRICS
from imu.recordings.content import make_recording
from imu.recordings.library import Library
from imu.types import Club, Manifest, Player, Stream
from imu.variation.progress import progress

SESSIONS, SWINGS = 200, 40
WHO = "Ida Falk · driver"


@pytest.fixture(scope="module")
def months(tmp_path_factory: pytest.TempPathFactory) -> Library:
    """Sessions three days apart, each with a level of its own, their analyses kept on disk."""
    library = Library(tmp_path_factory.mktemp("months"))
    random, settings = np.random.default_rng(1), Preferences().analysis_settings()
    base = invented_analysis(SWINGS, 7, rate_hz=50.0)
    samples = np.arange(20)
    for number in range(SESSIONS):
        day = datetime.date(2025, 1, 1) + datetime.timedelta(days=3 * number)
        stream = Stream(
            role="club",
            time=samples * 0.01,
            acc=np.full((20, 3), float(number)),
            gyr=np.zeros((20, 3)),
            seq=samples,
            host_time=samples * 0.01,
            rate_hz=100.0,
        )
        manifest = Manifest(
            Player("Ida Falk"),
            Club("driver", 1.12),
            f"{number}",
            session=f"session {number}",
            recorded_at=f"{day}T10:00:00+00:00",
        )
        entry, _ = library.add(make_recording(manifest, {"club": stream}))
        swings = base.swings.copy()
        for metric in METRICS:
            spread = float(swings[metric.name].std())
            swings[metric.name] += spread * (
                0.3 * random.standard_normal() + 0.5 * random.standard_normal(SWINGS)
            )
        keep(entry.folder, settings, replace(base, recording_id=entry.id, swings=swings))
    return library


def shown(library: Library) -> tuple[Store, page.Follower]:
    """A fresh server that has laid out the page and worked out its trends."""
    store = Store(LibraryShelf(library), Preferences())
    ids = page.recordings(store, {})
    assert all(page.at_hand(store, one) for one in ids) and len(ids) == SESSIONS
    page.layout(store, {})
    follower = page.Follower(store)
    assert len(follower.follow(WHO).used) == SESSIONS
    return store, follower


def test_two_hundred_sessions_are_followed_from_their_cached_tables_and_remembered(
    months: Library,
) -> None:
    _, follower = shown(months)
    assert follower.follow(WHO) is follower.follow(WHO)


def test_the_trends_are_those_of_whole_analyses_and_follow_what_is_left_out(
    months: Library,
) -> None:
    store, follower = shown(months)
    ids = page.recordings(store, {})
    whole = store.swing_set(ids)
    keep_columns = whole.swings.drop(columns=["key", "name"]).reset_index(drop=True)
    expected = progress(keep_columns)
    found = follower.follow(WHO)
    pd.testing.assert_frame_equal(found.sessions, expected.sessions)
    assert [one.level_sentence for one in found.trends] == [
        one.level_sentence for one in expected.trends
    ]
    store.leave_out(store.swing_set(ids[:1]), ["1", "2", "3"], "mishit")
    after = follower.follow(WHO).sessions
    swings = after.loc[after["metric"] == "release_ms", "swings"].tolist()
    assert sorted(swings) == [SWINGS - 3] + [SWINGS] * (SESSIONS - 1)
    store.leave_out(store.swing_set(ids[:1]), ["1", "2", "3"], "")


def test_the_page_says_where_an_sds_interval_is_too_narrow(months: Library) -> None:
    _, follower = shown(months)
    found = follower.follow(WHO)
    calm = found.sessions.assign(far_out=0)
    wild = calm.assign(far_out=(calm["session"] == "session 7") & (calm["metric"] == "release_ms"))
    said = {
        name: str(page.words(replace(found, sessions=table), "release_ms"))
        for name, table in (("calm", calm), ("wild", wild))
    }
    assert "far out in 2025-01-22 session 7:" in said["wild"]
    assert "far out" not in said["calm"] and "far out" not in str(
        page.words(replace(found, sessions=wild), "tempo_ratio")
    )
