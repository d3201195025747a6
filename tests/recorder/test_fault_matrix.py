"""Each fault of the link or a sensor is survived; what the sensor still held is all there."""

from __future__ import annotations

import asyncio
from pathlib import Path

import numpy as np
import pytest
from virtual_recordings import (
    MANIFEST,
    SERIALS,
    assembled,
    peripheral,
    record,
    sample_numbers,
    until,
)

from imu.recorder import capture
from imu.recorder.capture import SensorCapture
from imu.recorder.folder import JournalFolder, new_folder
from imu.recorder.journal import FILE_HEAD, Kind, encode_record, read_journal
from imu.recorder.packet import Packet, decode_packet
from imu.recorder.profile import State
from imu.recorder.session import RecordingSession
from imu.simulate.virtual_link import InProcessRadio
from imu.simulate.virtual_link_peripheral import Faults
from imu.types import CLUB, FOREARM, Stream

SECONDS = 8.0


def check_complete(stream: Stream, at_least: float) -> None:
    numbers = sample_numbers(stream)
    np.testing.assert_array_equal(np.diff(numbers), 1)
    np.testing.assert_array_equal(np.diff(stream.seq), 1)
    np.testing.assert_allclose(np.diff(stream.time), 1.0 / stream.rate_hz, rtol=0.01)
    assert len(numbers) > at_least * stream.rate_hz


MATRIX: dict[str, Faults] = {
    "nothing wrong": Faults(),
    "2 % of notifications lost": Faults(loss=0.02),
    "10 % of notifications lost": Faults(loss=0.10),
    "damaged notifications": Faults(garbage=0.03),
    "a short drop": Faults(drops=((3.0, 1.0),)),
    "three drops": Faults(drops=((1.0, 0.5), (2.0, 3.0), (6.5, 0.5))),
    "a drop at the very end": Faults(drops=((7.5, 2.0),)),
    "the host stalls": Faults(stalls=((2.0, 3.0),)),
    "a link slower than the data for a while": Faults(bytes_per_second=12_000.0),
    "connections fail at first": Faults(refuse_connects=1),
    "all at once": Faults(loss=0.05, garbage=0.02, drops=((2.0, 2.0),), stalls=((6.0, 1.0),)),
}


@pytest.mark.parametrize("name", MATRIX)
def test_no_sample_is_lost_that_the_sensor_still_held(name: str, tmp_path: Path) -> None:
    both = {FOREARM: peripheral(FOREARM), CLUB: peripheral(CLUB, MATRIX[name])}
    session, folder = record(tmp_path, both, SECONDS)
    recording = assembled(folder)
    for role in both:
        check_complete(recording.streams[role], 0.9 * SECONDS)
        status = session.captures[role].status
        assert (status.state, status.lost, status.missing) == ("stopped", 0, 0)
        assert status.received == len(recording.streams[role].seq)
    assert not any("lost" in fault for fault in recording.faults)


def test_a_sensor_is_not_started_anew_to_fetch_the_rest(tmp_path: Path) -> None:
    club = peripheral(CLUB, Faults(bytes_per_second=4_000.0))
    folder = new_folder(tmp_path, MANIFEST)

    async def run() -> SensorCapture:
        async with InProcessRadio([club], 8.0) as radio:
            session = RecordingSession(radio, folder, {CLUB: SERIALS[CLUB]})
            task, one = asyncio.create_task(session.run()), session.captures[CLUB]
            await until(lambda: one.intake.received > 1500)
            session.stop.set()
            await until(lambda: club.sensor.state is State.IDLE)
            club.disconnect()
            club.on_drop()
            await asyncio.wait_for(task, 60)
            return one

    status = asyncio.run(run()).status
    assert (status.breaks, status.missing, status.problem) == (1, 0, "")
    check_complete(assembled(folder).streams[CLUB], 3.0)
    (path,) = folder.journals()[CLUB]
    notes = [r.json()["text"] for r in read_journal(path).records if r.kind is Kind.EVENT]
    assert notes.count("recording") == 1


def test_what_a_flat_battery_leaves_in_the_sensor_is_fetched_at_the_end(tmp_path: Path) -> None:
    club = peripheral(CLUB)
    folder = new_folder(tmp_path, MANIFEST)

    async def run() -> SensorCapture:
        async with InProcessRadio([club], 8.0) as radio:
            session = RecordingSession(radio, folder, {CLUB: SERIALS[CLUB]})
            task, one = asyncio.create_task(session.run()), session.captures[CLUB]
            await until(lambda: one.intake.received > 1500)
            club.sensor.state = State.BATTERY_EMPTY
            club.disconnect()
            club.on_drop()
            await until(lambda: "battery is empty" in one.status.problem)
            session.stop.set()
            await asyncio.wait_for(task, 20)
            return one

    one = asyncio.run(run())
    assert (one.status.missing, one.status.lost) == (0, 0)
    check_complete(assembled(folder).streams[CLUB], 1.5)
    assert one.intake.received == club.sensor.next_seq


def test_a_drop_longer_than_the_ring_loses_only_what_was_overwritten(tmp_path: Path) -> None:
    club = peripheral(CLUB, Faults(drops=((1.0, 5.0),)), capacity=2000)
    session, folder = record(tmp_path, {FOREARM: peripheral(FOREARM), CLUB: club}, SECONDS)
    recording = assembled(folder)
    check_complete(recording.streams[FOREARM], 0.9 * SECONDS)
    stream = recording.streams[CLUB]
    numbers = sample_numbers(stream)
    ((_, lost),) = stream.gaps
    assert lost == np.diff(numbers).max() - 1 == session.captures[CLUB].status.lost
    assert 2500 < lost < 8000
    assert any("samples lost in 1 gap (" in fault for fault in recording.faults)


def test_a_restart_of_the_sensor_is_told_and_its_clock_joined(tmp_path: Path) -> None:
    club = peripheral(CLUB, Faults(resets=(1.2,)))
    session, folder = record(tmp_path, {CLUB: club}, 3.0, speed=1.0)
    assert session.captures[CLUB].status.restarts == 1
    recording = assembled(folder)
    stream = recording.streams[CLUB]
    numbers = sample_numbers(stream)
    assert (np.diff(stream.time) > 0).all()
    ((at, lost),) = stream.gaps
    truly_lost = int(np.diff(numbers)[at]) - 1
    # Arrivals after a stall of a busy machine: tens of ms at most.
    assert abs(lost - truly_lost) <= 40
    slope = np.polyfit(numbers[at + 1 :], stream.time[at + 1 :], 1)[0]
    assert slope == pytest.approx(1e-3, rel=1e-3)
    assert any("restarted" in fault for fault in recording.faults)


def test_one_sensor_only_is_recorded_and_said(tmp_path: Path) -> None:
    _, folder = record(tmp_path, {CLUB: peripheral(CLUB)}, 2.0)
    recording = assembled(folder)
    assert set(recording.streams) == {CLUB}
    assert any("hinge" in fault for fault in recording.faults)


def test_a_sensor_that_never_answers_does_not_hold_up_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(capture, "_SCAN", 0.3)
    both = {FOREARM: peripheral(FOREARM), CLUB: peripheral(CLUB, Faults(absent=True))}
    session, folder = record(tmp_path, both, SECONDS)
    assert "charged" in session.captures[CLUB].status.problem
    recording = assembled(folder)
    check_complete(recording.streams[FOREARM], 0.9 * SECONDS)
    assert any("club: no sample" in fault for fault in recording.faults)


@pytest.mark.parametrize("mtu", [185, 64, 31])
def test_smaller_packets_work(mtu: int, tmp_path: Path) -> None:
    _, folder = record(tmp_path, {CLUB: peripheral(CLUB, mtu=mtu, rate_hz=500)}, 4.0, 4.0)
    check_complete(assembled(folder).streams[CLUB], 3.5)


def test_a_link_too_narrow_for_one_sample_is_refused_with_the_numbers(tmp_path: Path) -> None:
    session, _ = record(tmp_path, {CLUB: peripheral(CLUB, mtu=23)}, 1.0)
    assert "20 bytes" in session.captures[CLUB].status.problem


def test_a_low_battery_is_noted_in_the_journal(tmp_path: Path) -> None:
    session, folder = record(tmp_path, {CLUB: peripheral(CLUB, battery=9)}, 1.0)
    assert session.captures[CLUB].status.battery == 9
    (path,) = folder.journals()[CLUB]
    notes = [r.json()["text"] for r in read_journal(path).records if r.kind is Kind.EVENT]
    assert "battery low: 9 %" in notes


def test_the_stop_file_ends_a_recording_cleanly(tmp_path: Path) -> None:
    def ask(session: RecordingSession) -> None:
        session.folder.ask_to_stop()

    session, folder = record(tmp_path, {CLUB: peripheral(CLUB)}, 8.0, 8.0, during=ask)
    assert session.stop.is_set()
    (path,) = folder.journals()[CLUB]
    assert read_journal(path).closed


def test_two_hundred_cuts_of_a_recording_each_give_every_sample_before(tmp_path: Path) -> None:
    _, folder = record(tmp_path, {CLUB: peripheral(CLUB, Faults(loss=0.05))}, 4.0)
    (path,) = folder.journals()[CLUB]
    whole = path.read_bytes()
    full = sample_numbers(assembled(folder).streams[CLUB])
    random = np.random.default_rng(8)
    copy = JournalFolder(tmp_path / "cut")
    copy.path.mkdir()
    copy.write_manifest(folder.manifest())
    # Numbers received by each end of a record: a packet that was only late comes again by
    # backfill, so numbers count, not arrivals.
    end, ends, received_by = len(FILE_HEAD), [0], [frozenset[int]()]
    for entry in read_journal(path).records:
        packet = decode_packet(entry.payload)
        fresh: set[int] = set()
        if entry.kind in (Kind.DATA, Kind.BACKFILL) and isinstance(packet, Packet):
            fresh = set(range(packet.seq, packet.end_seq))
        end += len(encode_record(entry.kind, entry.host_ns, entry.payload))
        ends.append(end)
        received_by.append(received_by[-1] | fresh)
    assert end == len(whole)
    seen = 0
    for cut in random.integers(0, len(whole), 200):
        (copy.path / "club.journal").write_bytes(whole[:cut])
        received = received_by[int(np.searchsorted(ends, cut, side="right")) - 1]
        if not received:
            continue
        numbers = sample_numbers(assembled(copy).streams[CLUB])
        assert len(numbers) == len(received)
        assert set(numbers) <= set(full)
        seen += 1
    assert seen > 150
