"""The packet codec against the published test vectors, and its C reference against both."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imu.recorder import packet as codec
from imu.recorder import profile

NOTES = Path(__file__).resolve().parents[2] / "firmware_notes"
VECTORS = json.loads((NOTES / "test_vectors.json").read_text(encoding="utf-8"))


def named(vectors: list[dict[str, Any]]) -> Any:
    return pytest.mark.parametrize("vector", vectors, ids=[v.get("name", "") for v in vectors])


@named(VECTORS["packets"])
def test_packets_agree_with_the_vectors_both_ways(vector: dict[str, Any]) -> None:
    payload = bytes.fromhex(vector["hex"])
    packet = codec.decode_packet(payload)
    assert isinstance(packet, codec.Packet)
    for name in ("flags", "range_code", "seq", "boot_id", "time_us"):
        assert getattr(packet, name) == vector[name]
    assert packet.counts.tolist() == vector["samples"]
    again = codec.encode_packet(
        packet.boot_id,
        packet.seq,
        packet.time_us,
        packet.flags,
        packet.range_code,
        vector["samples"],
    )
    assert again == payload


@named(VECTORS["backfill_ends"])
def test_end_marks_agree_with_the_vectors_both_ways(vector: dict[str, Any]) -> None:
    payload = bytes.fromhex(vector["hex"])
    end = codec.decode_packet(payload)
    assert end == codec.BackfillEnd(
        vector["boot_id"], vector["request_seq"], vector["oldest_seq"], vector["next_seq"]
    )
    assert codec.encode_backfill_end(end, vector["time_us"], vector["range_code"]) == payload


@named(VECTORS["malformed"])
def test_malformed_bytes_come_back_as_faults_with_a_reason(vector: dict[str, Any]) -> None:
    fault = codec.decode_packet(bytes.fromhex(vector["hex"]))
    assert isinstance(fault, codec.PacketFault) and fault.reason


@named(VECTORS["info"])
def test_info_agrees_with_the_vectors_both_ways(vector: dict[str, Any]) -> None:
    info = profile.decode_info(bytes.fromhex(vector["hex"]))
    assert isinstance(info, profile.SensorInfo)
    assert {name: getattr(info, name) for name in vector if name not in ("name", "hex")} == {
        name: value for name, value in vector.items() if name not in ("name", "hex")
    }
    assert info.encode().hex() == vector["hex"]


@pytest.mark.parametrize("vector", VECTORS["commands"], ids=lambda v: v["command"])
def test_commands_agree_with_the_vectors(vector: dict[str, Any]) -> None:
    assert getattr(profile, vector["command"])(*vector["arguments"]).hex() == vector["hex"]


def test_every_command_of_the_profile_has_a_vector() -> None:
    assert {v["command"] for v in VECTORS["commands"]} == {c.name.lower() for c in profile.Command}


@given(st.binary(max_size=300))
def test_decoding_never_raises(payload: bytes) -> None:
    decoded = codec.decode_packet(payload)
    assert isinstance(decoded, codec.Packet | codec.BackfillEnd | codec.PacketFault)
    assert isinstance(profile.decode_info(payload), profile.SensorInfo | str)


@given(
    prefix=st.sampled_from([v["hex"] for v in VECTORS["packets"] + VECTORS["backfill_ends"]]),
    at=st.integers(0, 15),
    value=st.integers(0, 255),
    cut=st.integers(0, 30),
)
def test_decoding_never_raises_on_nearly_right_bytes(
    prefix: str, at: int, value: int, cut: int
) -> None:
    payload = bytearray(bytes.fromhex(prefix))
    payload[at] = value
    decoded = codec.decode_packet(bytes(payload[: len(payload) - cut]))
    if isinstance(decoded, codec.Packet):
        assert decoded.end_seq <= 2**32 and len(decoded.counts) == payload[2]


packets = st.builds(
    dict,
    boot_id=st.integers(0, 2**16 - 1),
    seq=st.integers(0, 2**32 - 256),
    time_us=st.integers(0, 2**48 - 1),
    flags=st.sampled_from([0, 1, 2, 4, 8, 0x10, 0x40, 0x5F]),
    code=st.sampled_from([a << 4 | g for a in range(9) for g in range(7)]),
    counts=st.lists(
        st.lists(st.integers(-32768, 32767), min_size=6, max_size=6), min_size=1, max_size=30
    ),
)


@given(packets)
def test_packets_survive_the_round_trip(fields: dict[str, Any]) -> None:
    decoded = codec.decode_packet(codec.encode_packet(**fields))
    assert isinstance(decoded, codec.Packet)
    assert (decoded.boot_id, decoded.seq, decoded.time_us) == (
        fields["boot_id"],
        fields["seq"],
        fields["time_us"],
    )
    assert (decoded.flags, decoded.range_code) == (fields["flags"], fields["code"])
    assert decoded.counts.tolist() == fields["counts"]


def test_the_packet_of_a_247_byte_mtu_is_full_to_the_byte() -> None:
    count = codec.samples_that_fit(247 - codec.ATT_HEADER_SIZE)
    assert count == 19
    assert len(codec.encode_packet(0, 0, 0, 0, 0, np.zeros((count, 6), np.int16))) == 244
    assert codec.samples_that_fit(profile.MINIMUM_PAYLOAD) == 1
    assert codec.samples_that_fit(20) == 0


def test_scaling_to_si_uses_the_counts_of_the_info_value() -> None:
    payload = codec.encode_packet(1, 0, 0, 0, 0x45, [[0, 0, 1024, 100, 0, -100]])
    packet = codec.decode_packet(payload)
    assert isinstance(packet, codec.Packet)
    acc, gyr = codec.to_si(packet.counts, 9.80665 / 1024, 0.002)
    np.testing.assert_allclose(acc, [[0, 0, 9.80665]])
    np.testing.assert_allclose(gyr, [[0.2, 0, -0.2]])


def ask(program: Path, lines: list[str]) -> list[str]:
    run = subprocess.run(
        [program], input="\n".join(lines) + "\n", capture_output=True, text=True, check=True
    )
    return run.stdout.splitlines()


def test_the_c_reference_agrees_with_the_vectors_to_the_byte(vector_check: Path) -> None:
    for vector in VECTORS["packets"]:
        shown, again = ask(vector_check, [f"decode {vector['hex']}", f"recode {vector['hex']}"])
        fields = ("flags", "range_code", "boot_id", "seq", "time_us")
        expected = [vector[name] for name in fields] + [c for s in vector["samples"] for c in s]
        assert shown == "packet " + " ".join(map(str, expected))
        assert again == vector["hex"]
    for vector in VECTORS["backfill_ends"]:
        shown, again = ask(vector_check, [f"decode {vector['hex']}", f"recode {vector['hex']}"])
        fields = ("boot_id", "request_seq", "oldest_seq", "next_seq")
        assert shown == "end " + " ".join(str(vector[name]) for name in fields)
        assert again == vector["hex"]
    assert ask(vector_check, [f"decode {v['hex']}" for v in VECTORS["malformed"]]) == ["bad"] * len(
        VECTORS["malformed"]
    )


def test_the_checking_tool_asks_for_a_ring_before_it_uses_one(vector_check: Path) -> None:
    lines = ["push 3", "live 244", "ring 0 1 69", "erase", "ring 9 1 69", "push 3", "live 244"]
    asked = "start a ring first"
    assert ask(vector_check, lines) == [asked, asked, asked, asked, "ok", "ok", "none"]


def test_python_and_c_judge_damaged_packets_alike(vector_check: Path) -> None:
    random = np.random.default_rng(3)
    payloads = []
    for _ in range(2000):
        vector = VECTORS["packets"][random.integers(len(VECTORS["packets"]))]
        payload = bytearray(bytes.fromhex(vector["hex"]))
        payload[random.integers(16)] = random.integers(256)
        payloads.append(bytes(payload))
    verdicts = ask(vector_check, [f"recode {p.hex()}" for p in payloads])
    for payload, verdict in zip(payloads, verdicts, strict=True):
        decoded = codec.decode_packet(payload)
        assert isinstance(decoded, codec.PacketFault) == (verdict == "none"), payload.hex()
