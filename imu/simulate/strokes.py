"""Strokes: swings at a ball, practice swings, half swings, chips, and the waggles before them."""

from __future__ import annotations

from dataclasses import replace

from imu.simulate.golfer import add_swing
from imu.simulate.habits import SwingNumbers
from imu.simulate.timeline import PlayedSwing, Timeline
from imu.types import BALL, PRACTICE
from imu.units import DEG

FULL, HALF, CHIP = "full", "half", "chip"

_SHORTER = {
    # share of the backswing and lag, added downswing and release time in ms, finish in degrees
    HALF: (0.62, 0.78, 40.0, 25.0, 70.0),
    CHIP: (0.30, 0.38, 60.0, 20.0, 32.0),
}


def shorten(numbers: SwingNumbers, shape: str) -> SwingNumbers:
    """A half swing or a chip made of a full swing's numbers."""
    if shape == FULL:
        return numbers
    arm, lag, slower, later, finish = _SHORTER[shape]
    return replace(
        numbers,
        arm_top_deg=numbers.arm_top_deg * arm,
        lag_max_deg=numbers.lag_max_deg * lag,
        downswing_ms=numbers.downswing_ms + slower,
        release_ms=numbers.release_ms + later,
        arm_roll_top_deg=numbers.arm_roll_top_deg * arm,
        finish_deg=finish,
    )


def waggle(line: Timeline) -> None:
    """Move the clubhead to and fro over the ball, once or twice."""
    start, seconds = line.now, line.span(1.2, 1.8)
    cycles = int(line.rng.integers(1, 3))
    end = start + seconds
    line.paths.oscillate(start, end, "lag", line.span(8.0, 16.0) * DEG, cycles)
    line.paths.oscillate(start, end, "arm_angle", line.span(1.0, 3.0) * DEG, cycles)
    line.paths.oscillate(start, end, "club_elevation", line.span(2.0, 5.0) * DEG, cycles, 1.2)
    line.now = end
    line.note("waggle", start, cycles=cycles)


def stroke(
    line: Timeline,
    numbers: SwingNumbers,
    kind: str = BALL,
    shape: str = FULL,
    waggles: int = 0,
    quick: bool = False,
    brushes: bool = False,
) -> None:
    """From settling over the ball to the finish and back to standing.

    brushes : a practice swing whose clubhead brushes the grass: small blows, no lasting loss.
    ``quick`` : the next stroke follows at once; stays over the ball instead of standing.
    """
    numbers = shorten(numbers, shape)
    start = line.now
    line.address(numbers, 0.05 if kind == PRACTICE else 0.0, 0.8 if quick else 0.0)
    settled = line.now
    for _ in range(waggles):
        line.wait(line.span(0.2, 0.5))
        waggle(line)
    line.wait(line.span(0.25, 0.4) if quick else line.span(0.7, 1.8) / line.restless)
    takeaway = line.now
    slowed = 0.0
    if kind == BALL:
        slowed = {FULL: 1.0, HALF: 0.6, CHIP: 0.3}[shape] * line.span(2.7, 4.8)
    times = add_swing(line.paths, takeaway, numbers, slowed)
    line.bend_shaft(times, kind == BALL)
    line.slide_skin(times)
    if kind == BALL:
        blow = slowed * line.span(25.0, 50.0)
        line.ring(times.impact, blow, 0.10 * blow, 0.3 * slowed)
    if brushes:
        for share in line.rng.uniform(-0.012, 0.025, 6):
            line.ring(times.impact + float(share), line.span(4.0, 18.0), line.span(0.2, 1.0), 0.1)
    line.now = times.finish + (line.span(0.25, 0.4) if quick else line.span(0.7, 1.5))
    end = line.now
    line.paths.hold(line.now)
    line.swings.append(
        PlayedSwing(kind, shape, numbers, times, line.club, start, end, slowed, waggles, settled)
    )
    if not quick:
        line.stand()
        line.wait(line.span(0.4, 1.2) / line.restless)
