"""The virtual sensor's ring and backfill send the very bytes of the C reference."""

from __future__ import annotations

import random
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from imu.recorder import profile
from imu.simulate.virtual_link_sensor import VirtualSensor


class NumberSource:
    """Acceleration along x carries the low bits of the sample number, as in the C tool."""

    def __init__(self) -> None:
        self.first = 0

    def counts(self, first: int, count: int, rate_hz: int) -> NDArray[np.int16]:
        counts = np.zeros((count, 6), dtype=np.int16)
        counts[:, 0] = np.arange(first - self.first, first - self.first + count) & 0x7FFF
        return counts


class CRing:
    def __init__(self, program: Path) -> None:
        self.process = subprocess.Popen(
            [program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def ask(self, line: str) -> str:
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
        return self.process.stdout.readline().strip()

    def close(self) -> None:
        self.process.communicate()


@pytest.fixture
def c_ring(vector_check: Path) -> Iterator[CRing]:
    ring = CRing(vector_check)
    yield ring
    ring.close()


def said(payload: bytes | None) -> str:
    return payload.hex() if payload else "none"


@pytest.mark.parametrize("seed", range(8))
def test_any_course_of_events_gives_the_same_bytes(c_ring: CRing, seed: int) -> None:
    chooser = random.Random(seed)
    capacity = chooser.choice((50, 200, 1000))
    source = NumberSource()
    sensor = VirtualSensor("T1", "club", source, capacity=capacity, clock_start_us=0, seed=seed)
    sensor.command(profile.start(), 244, True)
    source.first = sensor._next_world
    # The C tool stamps sample n with n milliseconds: make the virtual clock do the same.
    sensor._boot_clock = source.first / 1000.0
    assert c_ring.ask(f"ring {capacity} {sensor.boot_id} {sensor.range_code}") == "ok"
    pushed, size, packets = 0, 244, 0
    for _ in range(400):
        action = chooser.choice(("push", "push", "live", "live", "fill", "fill", "want", "rare"))
        if action == "push":
            count = chooser.randrange(1, capacity // 2)
            pushed += count
            assert c_ring.ask(f"push {count}") == "ok"
            sensor.advance((source.first + pushed - 1) / 1000.0)
        elif action == "live":
            mine = said(sensor.live_packet(size))
            packets += mine != "none"
            assert c_ring.ask(f"live {size}") == mine
        elif action == "fill":
            mine = said(sensor.backfill_packet(size))
            packets += mine != "none"
            assert c_ring.ask(f"fill {size}") == mine
        elif action == "want":
            seq = max(0, pushed - chooser.randrange(2 * capacity))
            count = chooser.randrange(capacity)
            boot = chooser.choice((sensor.boot_id, sensor.boot_id, (sensor.boot_id + 1) & 0xFFFF))
            answer = c_ring.ask(f"want {boot} {seq} {count}")
            error = sensor.command(profile.backfill(boot, seq, count), size, True)
            assert (answer == "full") == (error == profile.CommandError.QUEUE_FULL)
        else:
            rare = chooser.choice(("lost", "erase", "size"))
            if rare == "size":
                size = chooser.choice((20, 28, 64, 182, 244))
            elif rare == "lost":
                c_ring.ask("lost")
                sensor.restart_live()
            else:
                c_ring.ask("erase")
                sensor.restart_live()
                sensor.oldest_seq = sensor.next_seq
    assert packets > 20
