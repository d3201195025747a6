"""From journals to streams: what is damaged or missing is told, nothing is guessed in silence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from virtual_recordings import peripheral, sample_numbers

from imu.recorder import profile
from imu.recorder.assemble import AssembledStream, assemble_stream
from imu.recorder.journal import Journal, Kind, Record
from imu.recorder.packet import Packet, decode_packet, encode_packet
from imu.simulate.virtual_link_peripheral import VirtualPeripheral
from imu.types import CLUB

LIVE_S = 2.0


def sent(club: VirtualPeripheral, since: float = 0.0) -> list[Record]:
    """What a journal holds of ``LIVE_S`` seconds of one virtual sensor from ``since`` s on."""
    club.tick(since)
    heard: list[Record] = []
    club.connect()
    now = since
    club.subscribe(
        profile.DATA, lambda payload: heard.append(Record(Kind.DATA, round(now * 1e9), payload))
    )
    assert club.write(profile.CONTROL, profile.start()) == 0
    info = club.read(profile.INFO)
    assert isinstance(info, bytes)
    heard.append(Record(Kind.INFO, round(now * 1e9), info))
    for step in range(1, round(LIVE_S / 0.015)):
        now = since + 0.015 * step
        club.tick(now)
    return [*heard, Record(Kind.END, round(now * 1e9), b"{}")]


def assembled(records: Sequence[Record]) -> AssembledStream:
    found = assemble_stream(CLUB, [Journal(tuple(records), (), 0)], 0)
    assert found is not None
    return found


def packets(records: Sequence[Record]) -> list[Record]:
    return [record for record in records if record.kind is Kind.DATA]


def renumbered(record: Record, **changes: int) -> Record:
    """The record with other fields of its packet."""
    packet = decode_packet(record.payload)
    assert isinstance(packet, Packet)
    was = {"boot_id": packet.boot_id, "seq": packet.seq, "time_us": packet.time_us, **changes}
    payload = encode_packet(
        was["boot_id"], was["seq"], was["time_us"], packet.flags, packet.range_code, packet.counts
    )
    return replace(record, payload=payload)


@pytest.mark.parametrize("rate_hz", [200, 500, 1000])
def test_without_the_sensors_word_its_rate_is_read_off_its_clock_and_that_is_told(
    rate_hz: int,
) -> None:
    records = sent(peripheral(CLUB, rate_hz=rate_hz))
    whole = assembled(records)
    found = assembled([record for record in records if record.kind is not Kind.INFO])
    assert found.stream.rate_hz == whole.stream.rate_hz == rate_hz
    np.testing.assert_array_equal(found.stream.time, whole.stream.time)
    # INFO carries the scales in 32 bits.
    np.testing.assert_allclose(found.stream.acc, whole.stream.acc, rtol=1e-6)
    assert whole.faults == ()
    (told,) = found.faults
    assert "damaged" in told and "nominal" in told


def test_a_clock_that_ran_backwards_costs_its_samples_and_is_told() -> None:
    records = sent(peripheral(CLUB))
    *most, last, end = records
    packet = decode_packet(last.payload)
    assert isinstance(packet, Packet)
    found = assembled([*most, renumbered(last, time_us=packet.time_us - 30_000), end])
    assert np.all(np.diff(found.stream.time) > 0)
    assert any("19 samples left out" in fault for fault in found.faults)


def test_two_stamps_for_one_sample_are_no_trouble() -> None:
    """As of firmware that counts a repeated packet's stamp on from another's."""
    records = sent(peripheral(CLUB))
    second = packets(records)[1]
    packet = decode_packet(second.payload)
    assert isinstance(packet, Packet)
    short = encode_packet(
        packet.boot_id, packet.seq, packet.time_us + 3, 0x10, packet.range_code, packet.counts[:5]
    )
    at = records.index(second)
    doubled = [*records[:at], Record(Kind.BACKFILL, second.host_ns, short), *records[at:]]
    np.testing.assert_array_equal(
        sample_numbers(assembled(doubled).stream), sample_numbers(assembled(records).stream)
    )


def test_a_restart_of_which_no_packet_came_live_is_told_as_unknown() -> None:
    club = peripheral(CLUB)
    first = sent(club)
    club.sensor.restart()
    later = [
        replace(record, kind=Kind.BACKFILL) if record.kind is Kind.DATA else record
        for record in sent(club, LIVE_S)
    ]
    found = assembled([*first[:-1], *later])
    assert any("unknown number of samples missing there" in fault for fault in found.faults)
    assert np.all(np.diff(found.stream.time) > 0)


def test_counts_are_worded_by_their_number() -> None:
    *records, end = sent(peripheral(CLUB))
    one = Record(Kind.DATA, end.host_ns, b"\x01")
    assert "club: 1 packet arrived damaged" in assembled([*records, one, end]).faults
    assert "club: 2 packets arrived damaged" in assembled([*records, one, one, end]).faults
    assert "club: the recording was interrupted" in assembled(records).faults
