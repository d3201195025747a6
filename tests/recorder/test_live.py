"""Live numbers come soon after each swing and agree with the final analysis."""

from __future__ import annotations

import functools
import struct
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from virtual_recordings import peripheral, record

from imu.columns import METRICS
from imu.pipeline import analyse
from imu.recorder import profile
from imu.recorder.assemble import assemble_stream
from imu.recorder.journal import Journal, JournalWriter, Kind, Record, read_journal
from imu.recorder.live import LiveAnalysis, LiveSwing, follow
from imu.recorder.live_events import live_events
from imu.recorder.packet import Packet, decode_packet
from imu.recordings.content import make_recording
from imu.simulate.belt import with_belt
from imu.simulate.plan import SessionPlan
from imu.simulate.session import SimulatedSession, simulate_session
from imu.simulate.virtual_link_motion import RANGES, MotionSource
from imu.simulate.virtual_link_peripheral import (
    CONNECTION_INTERVAL,
    Faults,
    VirtualPeripheral,
)
from imu.simulate.virtual_link_sensor import VirtualSensor
from imu.types import BELT, CLUB, FOREARM, Analysis, Manifest, Stream

SWINGS = 2


@dataclass
class Played:
    """A session sent by two virtual sensors, with what was found while it went on."""

    manifest: Manifest
    records: dict[str, list[Record]] = field(default_factory=dict)
    found: list[tuple[float, LiveSwing]] = field(default_factory=list)

    def final(self) -> Analysis:
        streams = {}
        for role, records in self.records.items():
            assembled = assemble_stream(role, [Journal(tuple(records), (), 0)], 0)
            assert assembled is not None
            streams[role] = assembled.stream
        return analyse(make_recording(self.manifest, streams))


@functools.cache
def simulated() -> SimulatedSession:
    return simulate_session(SessionPlan(("stand", *("ball",) * SWINGS)), "clean", 5)


def play(faults: dict[str, Faults], further: dict[str, Stream] | None = None) -> Played:
    """Send a simulated session in world time, without waiting, and follow it live.

    further : streams of sensors beside the two, by role.
    """
    session = simulated()
    streams = {role: session.measured[role].stream for role in (FOREARM, CLUB)} | (further or {})
    played = Played(session.recording.manifest)
    live = LiveAnalysis(session.recording.manifest)
    fresh: dict[str, list[Record]] = {role: [] for role in streams}
    world = 0.0
    peripherals = {}
    for number, (role, stream) in enumerate(streams.items()):
        sensor = VirtualSensor(
            role, role, MotionSource(stream), 1000, RANGES, clock_start_us=5_000_000, seed=number
        )
        peripherals[role] = VirtualPeripheral(sensor, faults.get(role), seed=number)
        peripherals[role].connect()
        peripherals[role].subscribe(
            profile.DATA,
            lambda payload, role=role: fresh[role].append(
                Record(Kind.DATA, round(world * 1e9), payload)
            ),
        )
        assert peripherals[role].write(profile.CONTROL, profile.start()) == 0
        info = peripherals[role].read(profile.INFO)
        assert isinstance(info, bytes)
        fresh[role].append(Record(Kind.INFO, 0, info))
    end = float(session.measured[CLUB].true_time[-1])
    while world < end:
        world += CONNECTION_INTERVAL
        for role, one in peripherals.items():
            one.tick(world + (0.004 if role == CLUB else 0.0))
            live.feed(role, fresh[role])
            played.records.setdefault(role, []).extend(fresh[role])
            fresh[role].clear()
        played.found += [(world, swing) for swing in live.look()]
    return played


@pytest.fixture(scope="module")
def played() -> Played:
    return play({})


@pytest.fixture(scope="module")
def final(played: Played) -> Analysis:
    return played.final()


def test_each_swing_is_found_once_soon_after_its_finish(played: Played, final: Analysis) -> None:
    live = [swing for _, swing in played.found]
    impacts = final.swings["impact_club_clock_us"].to_numpy()
    assert len(live) == len(impacts) == SWINGS
    np.testing.assert_allclose([s.impact_club_clock_us for s in live], impacts, atol=2000)
    assert [s.kind for s in live] == list(final.swings["kind"])
    finishes = final.swings["finish_club_clock_us"].to_numpy()
    for (world, swing), finish_us in zip(played.found, finishes, strict=True):
        clock_now = 5.0 + world
        assert 0.0 < clock_now - finish_us * 1e-6 < 0.15
        assert swing.host_ns * 1e-9 == pytest.approx(
            swing.impact_club_clock_us * 1e-6 - 5, abs=0.05
        )


def test_live_and_final_numbers_agree_within_their_errors(played: Played, final: Analysis) -> None:
    for (_, swing), row in zip(played.found, final.swings.to_dict("records"), strict=True):
        for metric in METRICS:
            if metric.headline:
                value, se = swing.metrics[metric.name]
                both = np.hypot(se, row[metric.se_name])
                assert abs(value - row[metric.name]) < 2.0 * both, metric.name


def test_a_follower_that_fell_behind_measures_every_swing_it_still_holds(played: Played) -> None:
    """As on a machine that was busy for so long."""
    live, found, behind_s = LiveAnalysis(played.manifest), [], 9.0
    end = max(records[-1].host_ns for records in played.records.values())
    for since in np.arange(0.0, end * 1e-9, behind_s):
        for role, records in played.records.items():
            live.feed(role, [r for r in records if since <= r.host_ns * 1e-9 < since + behind_s])
        for _ in range(3):
            found += live.look()
    assert [s.impact_club_clock_us for s in found] == pytest.approx(
        [s.impact_club_clock_us for _, s in played.found], abs=2000
    )


def test_lost_packets_away_from_the_strike_do_not_stop_the_numbers() -> None:
    played = play({CLUB: Faults(loss=0.005), FOREARM: Faults(loss=0.005)})
    assert len(played.found) == SWINGS


def test_the_belts_lead_comes_live_where_its_sensor_is_worn(played: Played) -> None:
    leads = [0.05, 0.12]
    belt = with_belt(simulated(), leads, 4, 1000.0, margin=0.0).recording.streams[BELT]
    found = play({}, {BELT: belt}).found
    assert len(found) == SWINGS
    for (_, swing), lead in zip(found, leads, strict=True):
        value, se = swing.metrics["belt_before_arm_ms"]
        assert abs(value - 1e3 * lead) < 3.0 * se < 60.0
    assert all("belt_before_arm_ms" not in swing.metrics for _, swing in played.found)


def test_a_belt_sensor_that_fell_silent_holds_nothing_up(played: Played) -> None:
    belt = with_belt(simulated(), [0.05, 0.12], 4, 1000.0, margin=0.0).recording.streams[BELT]
    found = play({BELT: Faults(loss=1.0)}, {BELT: belt}).found
    assert [round(swing.impact_club_clock_us, -4) for _, swing in found] == [
        round(swing.impact_club_clock_us, -4) for _, swing in played.found
    ]


def test_a_restart_of_the_club_sensor_starts_the_watch_anew(played: Played) -> None:
    live = LiveAnalysis(played.manifest)
    live.feed(CLUB, played.records[CLUB][:500])
    assert live.due()
    other = bytearray(played.records[CLUB][-1].payload)
    other[8] ^= 0xFF
    live.feed(CLUB, [Record(Kind.DATA, played.records[CLUB][500].host_ns, bytes(other))])
    assert live.look() == []
    assert not live.due()


def restarted(record: Record, since_us: int) -> Record:
    """The record as a sensor that started anew at ``since_us`` of its clock would have sent it."""
    packet = decode_packet(record.payload)
    assert isinstance(packet, Packet)
    payload = bytearray(record.payload)
    clock = packet.time_us - since_us
    struct.pack_into("<HIH", payload, 8, packet.boot_id ^ 1, clock & 0xFFFFFFFF, clock >> 32)
    return Record(record.kind, record.host_ns, bytes(payload))


def test_the_clubs_clock_goes_on_over_its_restart(played: Played) -> None:
    """So that what is noted of a swing while recording is found again in the finished one, whose
    clock is joined by the same arrivals (to within 50 ms; swings are told apart to 500)."""
    first, second = (swing for _, swing in played.found)
    middle_ns = (first.finish_host_ns + second.host_ns) // 2
    since_us = round(first.impact_club_clock_us)
    live, found = LiveAnalysis(played.manifest), []
    every = [(record, role) for role, records in played.records.items() for record in records]
    for one, role in sorted(every, key=lambda pair: pair[0].host_ns):
        late = role == CLUB and one.kind is Kind.DATA and one.host_ns > middle_ns
        live.feed(role, [restarted(one, since_us) if late else one])
        if live.due() and role == CLUB:
            found += live.look()
    assert len(found) == 2
    assert found[0].impact_club_clock_us == pytest.approx(first.impact_club_clock_us, abs=2000)
    assert found[1].impact_club_clock_us == pytest.approx(second.impact_club_clock_us, abs=50_000)


def test_the_follower_reads_the_journals_and_ends_with_the_recording(tmp_path: Path) -> None:
    both = {FOREARM: peripheral(FOREARM), CLUB: peripheral(CLUB)}
    _, folder = record(tmp_path, both, 4.0)
    writer = JournalWriter(folder.next_journal("swings"))
    follow(folder, writer)
    writer.close()
    path = folder.account("swings")
    assert path is not None
    kinds = [r.json().get("type") for r in read_journal(path).records]
    assert "calibration" in kinds and "swing" not in kinds and "problem" not in kinds


def test_what_goes_wrong_with_a_swing_is_told_once_and_ends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def look(_self: LiveAnalysis) -> list[LiveSwing]:
        raise RuntimeError("unforeseen")

    _, folder = record(tmp_path, {CLUB: peripheral(CLUB)}, 1.0)
    monkeypatch.setattr(LiveAnalysis, "look", look)
    writer = JournalWriter(folder.next_journal("swings"))
    follow(folder, writer)
    writer.close()
    problems = [event for event in live_events(folder) if event.get("type") == "problem"]
    assert [event["text"] for event in problems] == ["RuntimeError: unforeseen"]
