"""Wrong set-ups are named, and right ones are left in peace.

Faults are simulated, or made of sound recordings by what such a fault does to them: exchanging
roles, declaring the other hand, turning a stream from a moment on. The practice sessions
(``../shared/data/swings``, made outside the project by a physics engine) must give no warning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imu.errors import SwingspreadError
from imu.fusion.mirror import mirror
from imu.fusion.parts import SolvedParts, solve_parts
from imu.fusion.samples import cut_swing
from imu.fusion.setup_check import without_swings
from imu.fusion.setup_finding import (
    ARM_LENGTH,
    CLUB_CHANGED,
    DISTANCE,
    HANDEDNESS,
    LOOSE,
    MOVED,
    SLIPPED,
    SWAPPED,
    UNMOVED,
    WRONG_ARM,
    SetupFinding,
    merged,
    named,
)
from imu.fusion.setup_signs import SwingSigns
from imu.fusion.setup_steps import find_steps, step_findings
from imu.pipeline import analyse
from imu.recordings.importer import import_csv
from imu.recordings.synchronise import align
from imu.simulate.session import DRIVER, IRON_7, SessionPlan, SimulatedSession, simulate_session
from imu.simulate.setup_faults import SetupFaults, exchanged
from imu.swings.find import find_swings
from imu.types import CLUB, FOREARM, Player, Recording, Stream
from imu.units import DEG, STANDARD_GRAVITY

PRACTICE = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swings"
SWINGS = ("ball", "practice", "ball", "ball", "ball")


@cache
def simulated(profile: str, seed: int, hand: str = "right") -> SimulatedSession:
    plan = SessionPlan(actions=("stand", *SWINGS), player=Player("", hand))
    return simulate_session(plan, profile, seed)


def faulty(faults: SetupFaults, profile: str = "typical", seed: int = 41) -> Recording:
    plan = SessionPlan(actions=("stand", *SWINGS), faults=faults)
    return simulate_session(plan, profile, seed).recording


def solved(recording: Recording) -> SolvedParts:
    aligned = align(recording)
    if recording.manifest.player.handedness == "left":
        aligned = mirror(aligned)
    windows = find_swings(aligned).swings
    cut = [samples for w in windows if (samples := cut_swing(aligned, w, 0.003)) is not None]
    return solve_parts(aligned, cut, range(1, len(cut) + 1), recording.manifest)


def kinds(parts: SolvedParts) -> list[str]:
    return [found.kind for found in parts.findings]


def declared(recording: Recording, **changes: Any) -> Recording:
    """The recording with other facts declared: handedness, arm_length, sensors."""
    manifest = recording.manifest
    sensors = changes.pop("sensors", manifest.sensors)
    player = replace(manifest.player, **changes)
    return replace(recording, manifest=replace(manifest, player=player, sensors=sensors))


def turned_from(stream: Stream, time: float, turn: Rotation) -> Stream:
    """The stream as if its sensor had been turned on its segment at ``time`` (sensor clock)."""
    acc, gyr = stream.acc.copy(), stream.gyr.copy()
    after = stream.time >= time
    acc[after], gyr[after] = turn.apply(acc[after], inverse=True), turn.apply(gyr[after], True)
    return replace(stream, acc=acc, gyr=gyr)


@pytest.mark.parametrize("profile", ["clean", "typical", "harsh"])
def test_a_sound_session_gives_no_finding(profile: str) -> None:
    assert solved(simulated(profile, 41, "left").recording).findings == ()


@pytest.mark.skipif(not PRACTICE.exists(), reason="the practice sessions are not beside")
@pytest.mark.parametrize("profile", ["clean", "typical", "harsh"])
def test_the_practice_sessions_give_no_finding(profile: str) -> None:
    assert solved(_practice(profile)).findings == ()


@cache
def _practice(profile: str) -> Recording:
    folder = PRACTICE / profile
    files = (folder / "forearm.csv.gz", folder / "club.csv.gz", folder / "meta.json")
    return import_csv(*files)


def test_chips_half_swings_and_a_dropped_club_give_no_finding() -> None:
    actions = ("stand", "chip", "half", "ball", "drop", "chip", "practice", "tap", "ball", "half")
    plan = SessionPlan(actions=(*actions, "take_off"), restless=3.0)
    assert solved(simulate_session(plan, "harsh", 52).recording).findings == ()


def test_sensors_upside_down_are_no_fault() -> None:
    assert solved(faulty(SetupFaults(upside_down=(FOREARM, CLUB)))).findings == ()


def test_exchanged_sensors_are_named_and_their_numbers_kept_out() -> None:
    recording = simulated("typical", 41).recording
    analysis = analyse(replace(recording, streams=exchanged(recording.streams)))
    (warning,) = [words for words in analysis.warnings if "exchanged" in words]
    assert "forearm and club" in warning
    assert "Exchange their roles" in warning
    assert (analysis.swings["quality"] == "poor").all()
    assert analysis.swings["notes"].str.contains(SWAPPED).all()


def lying_still(stream: Stream) -> Stream:
    """What a sensor says that was left in the bag."""
    rng = np.random.default_rng(1)
    acc, gyr = 0.02 * rng.standard_normal((2, *stream.acc.shape))
    acc[:, 2] += STANDARD_GRAVITY
    return replace(stream, acc=acc, gyr=0.1 * gyr)


def changed(recording: Recording, role: str, stream: Stream) -> Recording:
    return replace(recording, streams={**recording.streams, role: stream})


def test_a_forearm_sensor_that_is_not_worn_is_named_and_nothing_is_made_of_it() -> None:
    recording = simulated("typical", 41).recording
    still = changed(recording, FOREARM, lying_still(recording.streams[FOREARM]))
    parts = solved(still)
    assert kinds(parts) == [UNMOVED]
    assert parts.findings[0].message.startswith("forearm sensor: it hardly moves")
    assert parts.findings[0].grade == "poor"
    assert len(parts.parts) == 1


def test_a_club_sensor_that_is_not_on_the_club_is_not_taken_for_the_forearms() -> None:
    recording = simulated("typical", 41).recording
    still = changed(recording, CLUB, lying_still(recording.streams[CLUB]))
    analysis = analyse(still)
    assert len(analysis.swings) == 0
    assert "no swings were found in this recording" in analysis.warnings
    assert any(words.startswith("club sensor: it hardly moves") for words in analysis.warnings)
    assert not any("exchanged" in words for words in analysis.warnings)


def test_without_swings_exchanged_sensors_are_named_where_exchanging_them_finds_some() -> None:
    aligned = align(simulated("typical", 41).recording)
    windows = find_swings(aligned).swings
    (words,) = without_swings(exchanged(aligned.streams), windows)
    assert words.startswith("forearm and club sensors: they are exchanged")
    assert "5 swings with them exchanged" in words
    assert without_swings(aligned.streams, []) == []
    assert without_swings(aligned.streams, windows) == [], "the club is the faster, as it should be"


@pytest.mark.parametrize("role", [FOREARM, CLUB])
def test_an_accelerometer_that_feels_no_gravity_is_refused_by_name(role: str) -> None:
    recording = simulated("typical", 41).recording
    stream = recording.streams[role]
    dead = changed(recording, role, replace(stream, acc=np.zeros_like(stream.acc)))
    with pytest.raises(SwingspreadError, match=f"{role} sensor: its accelerometer mostly feels 0"):
        analyse(dead)


def test_a_sensor_on_the_trail_arm_is_named() -> None:
    parts = solved(faulty(SetupFaults(wrong_arm=True)))
    assert kinds(parts) == [WRONG_ARM]
    assert parts.findings[0].message.startswith("forearm sensor")


@pytest.mark.parametrize("hand", ["right", "left"])
def test_contradicted_handedness_is_named_with_the_hand_seen(hand: str) -> None:
    other = "left" if hand == "right" else "right"
    parts = solved(declared(simulated("typical", 41, hand).recording, handedness=other))
    assert kinds(parts) == [HANDEDNESS]
    assert f"declared {other}-handed but swings {hand}-handed" in parts.findings[0].message


@pytest.mark.skipif(not PRACTICE.exists(), reason="the practice sessions are not beside")
def test_contradicted_handedness_is_named_in_a_practice_session() -> None:
    recording = _practice("clean")
    other = "left" if recording.manifest.player.handedness == "right" else "right"
    assert kinds(solved(declared(recording, handedness=other))) == [HANDEDNESS]


@pytest.mark.parametrize(
    ("role", "degrees", "part", "profile"),
    [
        (FOREARM, 4.0, "strap", "typical"),
        (FOREARM, 2.5, "strap", "harsh"),
        (CLUB, 2.0, "clamp", "typical"),
        (CLUB, 0.6, "clamp", "harsh"),
    ],
)
def test_a_loose_sensor_is_named_with_its_swings(
    role: str, degrees: float, part: str, profile: str
) -> None:
    parts = solved(faulty(SetupFaults(loose_deg={role: degrees}), profile))
    assert kinds(parts) == [LOOSE]
    (found,) = parts.findings
    assert found.message.startswith(f"{role} sensor: its {part} is loose")
    assert set(found.swings) >= {1, 3, 4, 5}
    assert found.grade in ("fair", "poor")


def test_a_sensor_that_slips_in_a_strike_splits_the_session_there() -> None:
    recording = faulty(SetupFaults(slip_deg={FOREARM: 20.0}))
    parts = solved(recording)
    assert kinds(parts) == [SLIPPED]
    (found,) = parts.findings
    assert found.message == ("forearm sensor: it slipped on the forearm in the strike of swing 3")
    assert [numbers for _, numbers in parts.parts] == [(1, 2, 3), (4, 5)]
    before, after = (session.mounted.matrix[FOREARM] for session, _ in parts.parts)
    apart = Rotation.from_matrix(after @ before.T).as_rotvec() / DEG
    assert abs(apart[1]) == pytest.approx(20.0, abs=4.0)
    analysis = analyse(recording)
    assert [part["swings"] for part in analysis.calibration["parts"]] == [[1, 2, 3], [4, 5]]
    assert analysis.swings["swing"].tolist() == [1, 2, 3, 4, 5]
    assert found.words in analysis.warnings


@pytest.mark.skipif(not PRACTICE.exists(), reason="the practice sessions are not beside")
@pytest.mark.parametrize("role", [FOREARM, CLUB])
def test_a_sensor_moved_between_two_swings_of_a_practice_session_is_named(role: str) -> None:
    recording = _practice("typical")
    sound = solved(recording)
    aligned = align(recording)
    fifth, sixth = (sound.swings[i].motion.time for i in (4, 5))
    moment = 0.5 * (fifth[-1] + sixth[0])
    at = float(aligned.clocks[role].to_sensor([moment])[0])
    axis = sound.main.mounted.axes[role].axis
    if recording.manifest.player.handedness == "left":
        axis = axis * np.array([-1.0, 1.0, 1.0])
    stream = turned_from(recording.streams[role], at, Rotation.from_rotvec(25.0 * DEG * axis))
    parts = solved(replace(recording, streams={**recording.streams, role: stream}))
    assert kinds(parts) == [MOVED]
    assert parts.findings[0].message.startswith(f"{role} sensor")
    assert "between the addresses of swings 5 and 6" in parts.findings[0].message


def test_another_club_taken_mid_session_is_named() -> None:
    actions = ("stand", "ball", "ball", "ball", "change_club", "ball", "ball", "ball")
    plan = SessionPlan(actions=actions, club=IRON_7, other_club=DRIVER)
    parts = solved(simulate_session(plan, "typical", 41).recording)
    assert kinds(parts) == [CLUB_CHANGED]
    assert "between swings 3 and 4" in parts.findings[0].message
    assert "flatter" in parts.findings[0].evidence


@pytest.mark.parametrize(
    ("role", "name", "more"),
    [(CLUB, "distance_from_butt", 0.05), (FOREARM, "distance_to_wrist", 0.06)],
)
def test_a_mistyped_distance_is_named_with_the_one_the_swings_say(
    role: str, name: str, more: float
) -> None:
    recording = simulated("typical", 41).recording
    sensors: dict[str, Mapping[str, Any]] = dict(recording.manifest.sensors)
    sensors[role] = {**sensors[role], name: sensors[role][name] + more}
    parts = solved(declared(recording, sensors=sensors))
    assert kinds(parts) == [DISTANCE]
    assert parts.findings[0].message.startswith(f"{role} sensor")


@pytest.mark.parametrize("length", [0.35, 0.95])
def test_an_arm_length_far_off_is_named(length: float) -> None:
    recording = simulated("typical", 41).recording
    assert kinds(solved(declared(recording, arm_length=length))) == [ARM_LENGTH]


def test_the_club_length_is_said_to_be_unseen_not_judged() -> None:
    sound = analyse(simulated("typical", 41).recording)
    manifest = simulated("typical", 41).recording.manifest
    longer = replace(manifest, club=replace(manifest.club, length=manifest.club.length + 0.3))
    other = analyse(replace(simulated("typical", 41).recording, manifest=longer))
    assert other.warnings == sound.warnings
    assert any(
        "not seen by the sensors: the club's length" in w for w in other.calibration["words"]
    )


def test_the_calibration_moves_tell_the_axes_better() -> None:
    def errors(actions: tuple[str, ...], seed: int) -> dict[str, float]:
        session = simulate_session(SessionPlan(actions=actions), "harsh", seed)
        parts = solved(session.recording)
        found = {}
        for role in (FOREARM, CLUB):
            mount = Rotation.from_quat(session.truth.data["sensors"][role]["mount_xyzw"])
            true = mount.inv().apply([0.0, -1.0, 0.0])
            found[role] = float(np.arccos(parts.main.mounted.axes[role].axis @ true)) / DEG
        return found

    seeds = (7, 8, 9)
    plain = [errors(("stand", "ball", "ball", "ball"), seed) for seed in seeds]
    moved = [errors(("calibrate", "ball", "ball", "ball"), seed) for seed in seeds]
    for role, most in ((FOREARM, 1.0), (CLUB, 0.5)):
        assert np.mean([e[role] for e in moved]) < most
        assert np.mean([e[role] for e in moved]) < np.mean([e[role] for e in plain])


def _signs(address_deg: float, thumb_deg: float = 0.0) -> SwingSigns:
    still = {FOREARM: 0.0, CLUB: 0.0}
    return SwingSigns(
        sense=0.5,
        rate_ratio=2.5,
        rate=30.0,
        turning={FOREARM: 12.0, CLUB: 30.0},
        give=0.0,
        roughness=still,
        address=address_deg * DEG,
        thumb=thumb_deg * DEG,
        lie=0.9,
        strike_twist=still,
    )


def test_neither_drift_nor_scatter_nor_one_odd_swing_is_a_step() -> None:
    rng = np.random.default_rng(5)
    drift = [_signs(2.0 * i) for i in range(12)]
    scatter = [_signs(x) for x in rng.normal(0.0, 6.0, 40)]
    odd = [_signs(40.0 if i == 7 else 0.0) for i in range(8)]
    assert [find_steps(signs) for signs in (drift, scatter, odd)] == [[], [], []]


def test_two_steps_are_both_found_also_across_the_turn_of_the_circle() -> None:
    rng = np.random.default_rng(6)
    levels = [*[175.0] * 4, *[-165.0] * 5, *[-120.0] * 3]
    signs = [_signs(level + rng.normal(0.0, 0.8)) for level in levels]
    assert [step.at for step in find_steps(signs)] == [4, 9]


def test_each_step_says_which_swings_were_solved_apart_for_it() -> None:
    signs = [_signs(level) for level in (*[0.0] * 4, *[20.0] * 5, *[65.0] * 3)]
    numbers = [1, 2, 3, 4, 6, 7, 8, 9, 10, 11, 12, 13]  # the fifth swing was lost
    first, second = step_findings(find_steps(signs), numbers)
    assert "between the addresses of swings 4 and 6" in first.message
    assert "Swings 1 to 4 were solved apart from swings 6 to 10." in first.mend
    assert "Swings 6 to 10 were solved apart from swings 11 to 13." in second.mend
    assert first.swings == tuple(numbers[4:])
    slipped = replace(find_steps(signs)[0], at=1, struck=CLUB)
    (only,) = step_findings([slipped], [1, 2, 3])
    assert "in the strike of swing 1" in only.message
    assert "Swing 1 was solved apart from swings 2 and 3." in only.mend


def test_findings_of_several_parts_are_said_once() -> None:
    found = SetupFinding(ARM_LENGTH, "the arm is not as long", "0.60 m", "Measure it again.")
    other = replace(found, message="something else", swings=(2,))
    merged_ones = merged([replace(found, swings=(1,)), other, replace(found, swings=(2, 3))])
    assert [one.swings for one in merged_ones] == [(1, 2, 3), (2,)]


def test_swings_are_called_by_their_numbers() -> None:
    assert named([4]) == "swing 4"
    assert named([2, 5]) == "swings 2 and 5"
    assert named([2, 3, 4]) == "swings 2 to 4"
    assert named([1, 4, 6]) == "swings 1, 4 and 6"
