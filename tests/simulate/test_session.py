"""Whole sessions: reproducible, complete, and as plausible as a person."""

import json

import numpy as np
import pytest

from imu.columns import EVENTS, METRIC_BY_NAME, METRICS
from imu.errors import SwingspreadError
from imu.simulate.habits import DRIVER_MEAN, LOOSE, STEADY, SwingHabit
from imu.simulate.population import random_habit
from imu.simulate.session import ACTIONS, DRIVER, IRON_7, SessionPlan, mixed_plan, simulate_session
from imu.simulate.setup_faults import SetupFaults
from imu.types import BALL, CLUB, FOREARM, PRACTICE, Player

STEPS = np.array([-0.0005, 0.0022])


@pytest.fixture(scope="module")
def session():
    plan = mixed_plan(np.random.default_rng(1), balls=5, practices=2)
    return simulate_session(plan, "clean", 9)


@pytest.fixture(scope="module")
def driver_session():
    habit = SwingHabit(DRIVER_MEAN, LOOSE)
    plan = SessionPlan(("ball",) * 12, club=DRIVER, habit=habit)
    return simulate_session(plan, "typical", 3)


def with_faults(**faults):
    plan = SessionPlan(("ball",) * 3, faults=SetupFaults(**faults))
    return simulate_session(plan, "clean", 1)


@pytest.fixture(scope="module")
def as_worn():
    """The session that others differ from by one fault of the set-up."""
    return with_faults()


@pytest.fixture(scope="module")
def on_the_trail_arm():
    return with_faults(wrong_arm=True)


def test_the_same_seed_gives_the_same_session_to_the_bit(as_worn):
    again = with_faults()
    assert again.recording.id == as_worn.recording.id
    for role, stream in as_worn.recording.streams.items():
        assert np.array_equal(stream.acc, again.recording.streams[role].acc)
    other = simulate_session(SessionPlan(("ball",) * 3), "clean", 2)
    assert other.recording.id != as_worn.recording.id


def test_truth_is_plain_json_and_complete(session):
    text = json.dumps(session.truth.data)
    assert "NaN" not in text
    assert [s["kind"] for s in session.truth.swings].count(BALL) == 5
    assert [s["kind"] for s in session.truth.swings].count(PRACTICE) == 2
    for swing in session.truth.swings:
        assert set(swing["events_s"]) == set(EVENTS)
        assert set(swing["values"]) == {metric.name for metric in METRICS}


def test_events_come_in_their_order(session):
    for swing in session.truth.swings:
        times = [swing["events_s"][name] for name in EVENTS]
        assert times == sorted(times)


def test_the_shock_begins_at_the_true_impact(session):
    stream = session.measured[CLUB].stream
    time = session.measured[CLUB].true_time
    for swing in session.truth.swings:
        impact = swing["events_s"]["impact"]
        before = (time > impact - 0.012) & (time < impact)
        after = (time > impact + 0.001) & (time < impact + 0.012)
        jump = np.abs(np.diff(stream.acc[after], axis=0)).max()
        calm = np.abs(np.diff(stream.acc[before], axis=0)).max()
        assert (jump > 5.0 * calm) == (swing["kind"] == BALL)


def test_the_forearm_feels_the_strike_attenuated(session):
    for swing in session.truth.swings:
        if swing["kind"] != BALL:
            continue
        rough = {}
        for role in (FOREARM, CLUB):
            time = session.measured[role].true_time
            near = np.abs(time - swing["events_s"]["impact"] - 0.005) < 0.005
            rough[role] = np.abs(np.diff(session.measured[role].stream.acc[near], axis=0)).max()
        assert 2.0 < rough[FOREARM] < 0.4 * rough[CLUB]


@pytest.mark.parametrize("which", ["session", "driver_session"])
def test_swings_lie_within_human_ranges(which, request):
    # Sources of the ranges: see imu.columns; club and arm rates after Zheng et al. 2008,
    # Int J Sports Med 29:487-497; times: common practice, no source.
    for swing in request.getfixturevalue(which).truth.swings:
        for name, value in swing["values"].items():
            metric = METRIC_BY_NAME[name]
            assert metric.low <= value <= metric.high, (name, value)


@pytest.mark.parametrize("seed", range(8))
def test_golfers_drawn_at_random_are_plausible_too(seed):
    rng = np.random.default_rng(seed)
    club = DRIVER if seed % 2 else IRON_7
    plan = mixed_plan(rng, balls=3, practices=0, club=club, extras=())
    for swing in simulate_session(plan, "harsh", seed).truth.swings:
        for name, value in swing["values"].items():
            metric = METRIC_BY_NAME[name]
            assert metric.low <= value <= metric.high, (name, value)


def test_golfers_differ_more_from_each_other_than_a_steady_one_from_himself():
    means = [random_habit(np.random.default_rng(k), IRON_7).mean for k in range(60)]
    # Cut at two deviations: standard deviation about 0.95 of the uncut one.
    downswing = np.std([m.downswing_ms for m in means])
    assert downswing == pytest.approx(18.0, rel=0.3)
    assert downswing > 2.0 * STEADY.downswing_ms


def test_club_rates_are_those_published_for_skilled_players(driver_session):
    # Zheng et al. 2008: professionals 2413 ± 442 °/s; amateurs lower. Within three deviations.
    peaks = [s["values"]["peak_club_rate_deg_s"] for s in driver_session.truth.swings]
    assert 2413 - 3 * 442 < np.mean(peaks) < 2413 + 442


def test_a_left_handed_player_is_the_mirror_image():
    plans = [SessionPlan(("ball",), player=Player("", hand)) for hand in ("right", "left")]
    right, left = (simulate_session(plan, "clean", 4) for plan in plans)
    assert left.truth.swings[0]["values"] == right.truth.swings[0]["values"]
    for role in (FOREARM, CLUB):
        a, b = right.recording.streams[role], left.recording.streams[role]
        # Sensor errors differ in the mirrored axes: equal to within bias and scale.
        assert b.acc * [1, -1, 1] == pytest.approx(a.acc, abs=0.02 * np.abs(a.acc).max())
        assert b.gyr * [-1, 1, -1] == pytest.approx(a.gyr, abs=0.02 * np.abs(a.gyr).max())


def test_drawn_times_are_the_realised_ones(driver_session):
    # Events are those of the definitions in 3-D, the draws those of the planar model.
    for name, tolerance in (("downswing_ms", 6.0), ("overlap_ms", 6.0), ("release_ms", 8.0)):
        drawn = [s["drawn"][name] for s in driver_session.truth.swings]
        found = [s["values"][name] for s in driver_session.truth.swings]
        assert np.abs(np.subtract(found, drawn)).max() < tolerance
        assert np.corrcoef(drawn, found)[0, 1] > 0.9


def test_a_longer_club_is_faster_at_its_head(session, driver_session):
    def speed(which):
        return np.mean([s["values"]["clubhead_speed_m_s"] for s in which.truth.swings])

    assert speed(driver_session) > speed(session)


def test_the_curves_agree_with_the_values(session):
    for swing in session.truth.swings:
        curve = session.truth.curves[session.truth.curves["swing"] == swing["swing"]]
        down = curve["t_s"].between(swing["events_s"]["club_top"], swing["events_s"]["impact"])
        assert curve["hinge_deg"][down].max() == pytest.approx(
            swing["values"]["hinge_max_deg"], abs=0.01
        )


def test_harsh_sensors_clip_and_lose_packets():
    session = simulate_session(SessionPlan(("ball",) * 3), "harsh", 2)
    sensors = session.truth.data["sensors"]
    assert sensors[CLUB]["clipped_acc"] > 0
    assert sum(sensors[role]["lost_samples"] for role in sensors) > 0
    assert {s.rate_hz for s in session.recording.streams.values()} == {200.0, 500.0}


def test_every_action_is_written_down():
    order = [*(name for name in ACTIONS if name != "take_off"), "take_off"]
    session = simulate_session(SessionPlan(order), "clean", 5)
    data = session.truth.data
    seen = {o["type"] for o in data["other_movements"]}
    assert {"walk", "twirl", "rehearsal", "point", "tap", "drop", "sensors off"} <= seen
    assert {"roll forearm", "roll club", "stand still"} <= seen
    assert {p["shape"] for p in data["partial_swings"]} == {"half", "chip"}
    assert len(session.truth.swings) == 5
    for other in data["other_movements"]:
        assert 0.0 <= other["start_s"] < other["end_s"] <= data["duration_s"]
    tail = session.measured[FOREARM].stream.gyr[-2000:]
    assert tail.std(axis=0).max() < 0.01


def test_brushing_the_grass_is_felt_but_takes_no_speed():
    session = simulate_session(SessionPlan(("ball", "brush", "practice")), "clean", 6)
    rough, lost = [], []
    for swing in session.truth.swings:
        impact = swing["events_s"]["impact"]
        time = session.measured[CLUB].true_time
        near = np.abs(time - impact) < 0.03
        rough.append(np.abs(np.diff(session.measured[CLUB].stream.acc[near], 2, axis=0)).max())
        rates = [np.linalg.norm(session.body.at(np.array([t])).club.rate) for t in impact + STEPS]
        lost.append(rates[0] - rates[1])
    ball, brush, practice = rough
    assert ball > 2.0 * brush > 4.0 * practice
    assert lost[0] > 2.0
    assert max(lost[1:]) < 0.6


def test_a_taped_length_is_near_but_not_exact(session):
    manifest = session.recording.manifest
    assert manifest.club.length == 0.94
    assert manifest.sensors[CLUB]["distance_from_butt"] == pytest.approx(0.33, abs=0.01)
    assert manifest.source == "simulated"


def test_a_wrong_set_up_is_declared_on_request():
    manifest = with_faults(handedness="left", club_length=1.12).recording.manifest
    assert (manifest.player.handedness, manifest.club.length) == ("left", 1.12)


def test_swapped_sensors_carry_each_others_samples(as_worn):
    right, wrong = as_worn.recording.streams, with_faults(swapped=True).recording.streams
    assert np.array_equal(right[FOREARM].acc, wrong[CLUB].acc)
    assert np.array_equal(right[CLUB].gyr, wrong[FOREARM].gyr)
    assert wrong[CLUB].role == CLUB


def test_a_sensor_strapped_upside_down_turns_x_and_y_round(as_worn):
    wrong = with_faults(upside_down=(CLUB,))
    a, b = as_worn.recording.streams[CLUB], wrong.recording.streams[CLUB]
    assert b.gyr * [-1, -1, 1] == pytest.approx(a.gyr, abs=0.02 * np.abs(a.gyr).max())


def test_a_slip_changes_gravity_for_the_rest_of_the_session(as_worn):
    # A turn about the long axis by 40° turns the cross axes' gravity by as much.
    wrong = with_faults(slip_deg={FOREARM: 40.0})
    a, b = (s.recording.streams[FOREARM] for s in (as_worn, wrong))
    middle = as_worn.truth.swings[1]["events_s"]["impact"]
    early = as_worn.measured[FOREARM].true_time < middle - 0.01
    assert np.array_equal(a.acc[early], b.acc[early])
    rest = as_worn.measured[FOREARM].true_time > as_worn.truth.data["duration_s"] - 1.0
    cross_a, cross_b = a.acc[rest, 1:].mean(axis=0), b.acc[rest, 1:].mean(axis=0)
    cosine = cross_a @ cross_b / np.linalg.norm(cross_a) / np.linalg.norm(cross_b)
    assert np.degrees(np.arccos(cosine)) == pytest.approx(40.0, abs=4.0)


def test_a_loose_strap_shakes_only_in_swings(as_worn):
    wrong = with_faults(loose_deg={FOREARM: 3.0})
    a, b = (s.recording.streams[FOREARM].gyr for s in (as_worn, wrong))
    time = as_worn.measured[FOREARM].true_time
    events = as_worn.truth.swings[1]["events_s"]
    inside = (time > events["club_top"]) & (time < events["impact"])
    calm = (time > events["takeaway"] - 0.5) & (time < events["takeaway"])
    assert np.abs((a - b)[inside]).max() > 1.0
    assert np.array_equal(a[calm], b[calm])


def test_a_sensor_on_the_trail_arm_does_not_fit_the_wrist(as_worn, on_the_trail_arm):
    # On the lead arm both sensors' accelerations, carried to the wrist, are one vector; on the
    # trail arm the hand is another place. Carried with the exact movement, world axes.
    for session, low, high in ((as_worn, 0.0, 1e-6), (on_the_trail_arm, 10.0, 500.0)):
        body, swing = session.body, session.truth.swings[1]
        time = swing["events_s"]["impact"] + np.arange(-0.15, -0.005, 0.002)
        wrong = session is on_the_trail_arm
        arm = body.trail_forearm_at(time) if wrong else body.forearm_at(time)
        club = body.club_at(time)
        gap = arm.orientation().apply(arm.wrist_force) - club.orientation().apply(club.wrist_force)
        assert low <= np.abs(gap).max() <= high
    right = as_worn.recording.streams[FOREARM]
    other = on_the_trail_arm.recording.streams[FOREARM]
    assert np.abs(other.gyr - right.gyr).max() > 5.0


def test_the_trail_forearm_is_consistent_too(on_the_trail_arm):
    session = on_the_trail_arm
    step = 2e-5
    time = session.truth.swings[0]["events_s"]["impact"] + np.linspace(-0.5, -0.01, 40)
    before, now, after = (session.body.trail_forearm_at(time + k * step) for k in (-1, 0, 1))
    rate = (before.orientation().inv() * after.orientation()).as_rotvec() / (2 * step)
    assert np.abs(rate - now.rate).max() < 2e-4
    assert np.abs((after.rate - before.rate) / (2 * step) - now.acceleration).max() < 2.0


def test_another_club_is_longer_and_its_sensor_sits_otherwise():
    plan = SessionPlan(("ball", "change_club", "ball"))
    session = simulate_session(plan, "clean", 1)
    iron, driver = session.truth.swings
    assert (iron["club"], driver["club"]) == ("7-iron", "driver")
    assert driver["values"]["clubhead_speed_m_s"] > iron["values"]["clubhead_speed_m_s"] + 2.0
    time = session.measured[CLUB].true_time

    def over_the_ball(swing):
        near = np.abs(time - swing["events_s"]["takeaway"] + 0.3) < 0.05
        return session.measured[CLUB].stream.acc[near].mean(axis=0)

    first, second = over_the_ball(iron)[1:], over_the_ball(driver)[1:]
    cosine = first @ second / np.linalg.norm(first) / np.linalg.norm(second)
    assert 40.0 < np.degrees(np.arccos(cosine)) < 90.0


def test_a_recording_may_begin_and_end_within_a_swing():
    whole = simulate_session(SessionPlan(("ball",) * 2), "clean", 1)
    first, last = (s["events_s"]["club_top"] for s in whole.truth.swings)
    trim = (first, whole.truth.data["duration_s"] - last)
    cut = simulate_session(SessionPlan(("ball",) * 2, trim=trim), "clean", 1)
    for role in (FOREARM, CLUB):
        assert cut.measured[role].true_time[0] == pytest.approx(first + 0.2, abs=0.03)
        assert cut.measured[role].true_time[-1] == pytest.approx(last, abs=0.01)


def test_an_unknown_action_names_the_choices():
    with pytest.raises(SwingspreadError, match="unknown action 'juggle'; known: ball"):
        simulate_session(SessionPlan(("juggle",)), "clean", 1)
