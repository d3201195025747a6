"""The session fit: what must not change the numbers, and what must widen their errors.

Sessions are simulated; the invariances are properties any method must have.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imu.columns import EVENTS
from imu.fusion import start
from imu.fusion.mirror import mirror_stream
from imu.fusion.parameters import Shared
from imu.fusion.samples import cut_swing
from imu.fusion.session import solve_session
from imu.fusion.start import Seat
from imu.pipeline import analyse
from imu.recordings.synchronise import align
from imu.simulate.session import SessionPlan, SimulatedSession, simulate_session
from imu.swings.find import find_swings
from imu.types import CLUB, FOREARM, Analysis, Recording, Stream

NUMBERS = [
    "backswing_ms", "downswing_ms", "overlap_ms", "release_ms", "hinge_max_deg",
    "hinge_at_impact_deg", "lag_at_parallel_deg", "plane_shift_deg", "clubhead_speed_m_s",
    "closure_deg",
]  # fmt: skip


@pytest.fixture(scope="module")
def session() -> SimulatedSession:
    plan = SessionPlan(actions=("stand", "ball", "ball", "walk", "practice", "ball"))
    return simulate_session(plan, "typical", 31)


@pytest.fixture(scope="module")
def base(session: SimulatedSession) -> Analysis:
    return analyse(session.recording)


def changed(recording: Recording, **by_role: Stream) -> Recording:
    return replace(recording, streams={**recording.streams, **by_role})


def turned(stream: Stream, rotation: Rotation) -> Stream:
    acc, gyr = (rotation.apply(np.array(values)) for values in (stream.acc, stream.gyr))
    return replace(stream, acc=acc, gyr=gyr)


@pytest.mark.parametrize(
    ("forearm", "club"),
    [
        (("z", 90.0), ("y", -90.0)),
        (("x", 70.0), ("x", -130.0)),
        (("y", 180.0), ("z", 180.0)),
    ],
    ids=["other axes", "rolled about the segment", "upside down"],
)
def test_how_a_sensor_is_put_on_changes_no_number(
    session: SimulatedSession,
    base: Analysis,
    forearm: tuple[str, float],
    club: tuple[str, float],
) -> None:
    recording = session.recording
    streams = {
        role: turned(recording.streams[role], Rotation.from_euler(axis, angle, degrees=True))
        for role, (axis, angle) in ((FOREARM, forearm), (CLUB, club))
    }
    other = analyse(changed(recording, **streams))
    assert other.swings["kind"].tolist() == base.swings["kind"].tolist()
    apart = np.abs(other.swings[NUMBERS] - base.swings[NUMBERS])
    # The fit stops at a hundredth of its priors, and priors of cross-axis errors turn too.
    assert (apart <= 0.15 * base.swings[[f"{n}_se" for n in NUMBERS]].to_numpy() + 1e-9).all(
        axis=None
    )


def test_every_time_of_an_event_has_an_error_and_none_without_a_time(base: Analysis) -> None:
    for event in EVENTS:
        known = np.isfinite(base.swings[f"{event}_s"].to_numpy(float))
        assert known.any()
        stated = np.isfinite(base.swings[f"{event}_s_se"].to_numpy(float))
        np.testing.assert_array_equal(known, stated)


def test_a_sensor_set_askew_is_noticed_and_widens_the_error(
    session: SimulatedSession, base: Analysis
) -> None:
    recording = session.recording
    askew = turned(recording.streams[CLUB], Rotation.from_rotvec([0.2, 0.45, 0.45]))
    other = analyse(changed(recording, club=askew))
    assert not other.calibration["sensors"][CLUB]["set_along_the_segment"]
    assert any("askew" in words for words in other.calibration["words"])
    doubt, usual = (
        np.max(found.calibration["sensors"][CLUB]["long_axis_se_deg"]) for found in (other, base)
    )
    assert doubt > 1.5 * usual
    wider = other.swings["hinge_max_deg_se"]
    assert (wider > base.swings["hinge_max_deg_se"]).all()
    apart = np.abs(other.swings["hinge_max_deg"] - base.swings["hinge_max_deg"])
    assert (apart < 3.0 * wider).all()


def test_a_seat_that_every_fit_contradicts_is_the_one_last_fitted_with(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Made to turn a little each time, so that the tries run out."""
    fitted: list[Mapping[str, Seat]] = []

    def first_shared(swings: Any, rests: Any, lengths: Any, seats: Mapping[str, Seat]) -> Shared:
        fitted.append(seats)
        return start.first_shared(swings, rests, lengths, seats)

    def reseat(role: str, seat: Seat, distal: Any) -> Seat:
        return replace(seat, axis=Rotation.from_euler("x", 1, degrees=True).apply(seat.axis))

    monkeypatch.setattr("imu.fusion.session.first_shared", first_shared)
    monkeypatch.setattr("imu.fusion.session.reseat", reseat)
    one = simulate_session(SessionPlan(("stand", "ball")), "clean", 5).recording
    aligned = align(one)
    cut = [cut_swing(aligned, window, 0.004) for window in find_swings(aligned).swings]
    solved = solve_session(aligned, [swing for swing in cut if swing], one.manifest)
    assert len(fitted) > 1
    assert solved.seats == fitted[-1]


def test_a_mirrored_player_has_the_same_numbers(session: SimulatedSession, base: Analysis) -> None:
    recording = session.recording
    manifest = recording.manifest
    left = replace(
        recording,
        manifest=replace(manifest, player=replace(manifest.player, handedness="left")),
        streams={role: mirror_stream(s) for role, s in recording.streams.items()},
    )
    other = analyse(left)
    np.testing.assert_allclose(
        other.swings[NUMBERS].to_numpy(float), base.swings[NUMBERS].to_numpy(float), atol=1e-6
    )


def test_a_shift_of_all_clocks_changes_nothing_but_the_clock_readings(
    session: SimulatedSession, base: Analysis
) -> None:
    recording = session.recording
    streams = {
        role: replace(s, time=s.time + 5000.0, host_time=s.host_time + 70000.0)
        for role, s in recording.streams.items()
    }
    other = analyse(replace(recording, streams=streams))
    np.testing.assert_allclose(
        other.swings[NUMBERS].to_numpy(float), base.swings[NUMBERS].to_numpy(float), atol=1e-3
    )
    shift = other.swings["impact_club_clock_us"] - base.swings["impact_club_clock_us"]
    np.testing.assert_allclose(shift, 5000e6, atol=5.0)


def test_without_arrival_times_the_clocks_are_tied_by_the_movements(
    session: SimulatedSession, base: Analysis
) -> None:
    streams = {
        role: replace(s, host_time=np.full(len(s.time), np.nan))
        for role, s in session.recording.streams.items()
    }
    other = analyse(replace(session.recording, streams=streams))
    assert any("arrival times" in warning for warning in other.warnings)
    got = other.clock["forearm_offset_s"] - other.clock["forearm_reference_s"]
    known = base.clock["forearm_offset_s"] - base.clock["forearm_reference_s"]
    assert got == pytest.approx(known, abs=0.3e-3)


def test_the_target_lies_along_x_square_to_the_shaft_at_address(base: Analysis) -> None:
    for _, row in base.swings.iterrows():
        curve = base.curves[base.curves["swing"] == row["swing"]]
        at = int((curve["t_s"] - row["takeaway_s"] + 0.1).abs().to_numpy().argmin())
        club = Rotation.from_quat(
            curve[["club_qw", "club_qx", "club_qy", "club_qz"]].to_numpy()[at], scalar_first=True
        )
        shaft = club.apply([0.0, -1.0, 0.0])
        # The ball lies ahead, the target of a right-handed player to the left: x is left.
        assert abs(shaft[0]) < 0.02
        assert shaft[1] < -0.2


def test_one_swing_is_enough_and_says_less(session: SimulatedSession, base: Analysis) -> None:
    first, second = base.swings.iloc[0], base.swings.iloc[1]
    until = 0.5 * (first["finish_s"] + second["takeaway_s"])
    streams = {}
    for role, stream in session.recording.streams.items():
        keep = stream.host_time < stream.host_time[0] + until
        streams[role] = stream.rows(keep)
    alone = analyse(replace(session.recording, streams=streams)).swings
    assert len(alone) == 1
    for name, most in (("release_ms", 1.5), ("hinge_max_deg", 2.0), ("overlap_ms", 2.0)):
        assert abs(alone[name].iloc[0] - first[name]) < most
    assert alone["hinge_at_impact_deg_se"].iloc[0] >= 0.95 * first["hinge_at_impact_deg_se"]


def without(stream: Stream, start: float, end: float) -> Stream:
    keep = (stream.time < start) | (stream.time > end)
    return stream.rows(keep)


def test_lost_samples_are_bridged_marked_and_widen_the_error(
    session: SimulatedSession, base: Analysis
) -> None:
    recording = session.recording
    club = recording.streams[CLUB]
    top = base.swings["club_top_club_clock_us"].iloc[0] * 1e-6
    other = analyse(changed(recording, club=without(club, top + 0.03, top + 0.07)))
    curve = other.curves[other.curves["swing"] == 1]
    inside = curve["t_club_clock_us"].between((top + 0.035) * 1e6, (top + 0.065) * 1e6)
    assert curve.loc[inside, "reconstructed"].all()
    assert other.swings["quality"].iloc[0] != "good"
    whole = base.curves[base.curves["swing"] == 1]
    usual = np.interp(curve["t_club_clock_us"], whole["t_club_clock_us"], whole["hinge_se_deg"])
    added = curve["hinge_se_deg"] ** 2 - usual**2
    assert added[inside].max() > 0.1**2
    apart = abs(other.swings["release_ms"].iloc[0] - base.swings["release_ms"].iloc[0])
    assert apart < 4.0


def test_a_swing_whose_downswing_is_lost_is_kept_out_with_the_reason(
    session: SimulatedSession, base: Analysis
) -> None:
    recording = session.recording
    impact = base.swings["impact_club_clock_us"].iloc[1] * 1e-6
    club = without(recording.streams[CLUB], impact - 0.12, impact - 0.03)
    other = analyse(changed(recording, club=club))
    row = other.swings.iloc[1]
    assert row["quality"] == "poor"
    assert "lost" in row["notes"]
