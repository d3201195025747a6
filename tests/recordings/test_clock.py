"""The lower envelope finds the clock where least squares follows the delays."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from imu.recordings.clock import closest_line_below, find_host_steps, fit_clock, lower_hull
from imu.types import FloatArray


def arrivals(
    seconds: float,
    seed: int,
    *,
    offset: float = 100.0,
    drift: float = 30e-6,
    packet: float = 0.019,
    interval: float = 0.015,
    repeated: float = 0.1,
    stall: tuple[float, float] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Sensor times of packets' last samples and their arrival over a radio with events."""
    random = np.random.default_rng(seed)
    sensor = np.arange(packet, seconds, packet) + random.uniform(0, packet)
    ready = offset + (1 + drift) * sensor
    phase = random.uniform(0, interval)
    events = interval * np.ceil((ready - phase) / interval) + phase
    repeats = random.geometric(1 - repeated, len(sensor)) - 1
    host = events + repeats * interval + random.exponential(0.0003, len(sensor))
    if stall is not None:
        start, length = stall
        caught = (host > offset + start) & (host < offset + start + length)
        host[caught] = offset + start + length
    return sensor, np.maximum.accumulate(host)


def least_squares(sensor: FloatArray, host: FloatArray) -> np.poly1d:
    return np.poly1d(np.polyfit(sensor, host, 1))


def inter_sensor_errors(
    seconds: float, runs: int, **options: float
) -> tuple[FloatArray, FloatArray]:
    """Error of club time against forearm time in the middle of a window, both methods, s.

    The body shadows the forearm's radio: a third of its packets go out a second time.
    """
    envelope, squares = [], []
    for run in range(runs):
        one = arrivals(seconds, 2 * run, drift=30e-6, repeated=0.33, **options)
        two = arrivals(seconds, 2 * run + 1, offset=200.0, drift=-20e-6, **options)
        middle = seconds / 2
        true = (200.0 + (1 - 20e-6) * middle) - (100.0 + (1 + 30e-6) * middle)
        fits = fit_clock(*one).model, fit_clock(*two).model
        said = float(fits[1].to_recording(middle) - fits[0].to_recording(middle))
        envelope.append(said - true)
        squares.append(least_squares(*two)(middle) - least_squares(*one)(middle) - true)
    return np.array(envelope), np.array(squares)


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_the_hull_is_the_one_of_an_independent_library() -> None:
    random = np.random.default_rng(5)
    x = np.sort(random.uniform(0, 10, 300))
    y = random.exponential(1.0, 300) + 0.1 * x
    hull = ConvexHull(np.column_stack([x, y]))  # scipy's qhull
    below = hull.equations[:, 1] < 0
    expected = np.unique(hull.simplices[below])
    np.testing.assert_array_equal(lower_hull(x, y), expected)


def test_no_line_below_the_points_lies_closer() -> None:
    from scipy.optimize import linprog

    random = np.random.default_rng(6)
    x = np.sort(random.uniform(-5, 5, 200))
    y = 3.0 - 0.2 * x + random.exponential(0.5, 200)
    slope, height = closest_line_below(x, y)
    best = linprog(
        [-len(x), -np.sum(x)], np.column_stack([np.ones(200), x]), y, bounds=[(None, None)] * 2
    )
    np.testing.assert_allclose(slope, best.x[1], atol=1e-6)
    np.testing.assert_allclose(height - slope * x.mean(), best.x[0], atol=1e-6)


def test_exact_arrivals_give_the_exact_clock() -> None:
    sensor = np.arange(0.0, 60.0, 0.019)
    fit = fit_clock(sensor, 12.5 + (1 + 40e-6) * sensor, radio_interval=0.0)
    np.testing.assert_allclose(fit.model.drift, 40e-6, atol=1e-9)
    np.testing.assert_allclose(
        fit.model.to_recording(sensor), 12.5 + (1 + 40e-6) * sensor, atol=1e-9
    )
    assert fit.model.offset_se < 1e-9


def test_envelope_beats_least_squares_over_a_minute_and_over_five_seconds() -> None:
    long_envelope, long_squares = inter_sensor_errors(60.0, 20)
    short_envelope, short_squares = inter_sensor_errors(5.0, 40)
    assert rms(long_envelope) < 0.25e-3
    assert rms(short_envelope) < 0.8e-3
    assert rms(long_squares) > 10 * rms(long_envelope)
    assert rms(short_squares) > 5 * rms(short_envelope)


def test_packets_in_step_with_the_radio_leave_an_error_the_standard_error_admits() -> None:
    errors, _ = inter_sensor_errors(10.0, 20, packet=0.015, interval=0.015)
    fit = fit_clock(*arrivals(10.0, 1, packet=0.015, interval=0.015))
    assert rms(errors) > 2e-3
    assert fit.phase_se == pytest.approx(0.015 / np.sqrt(12))
    assert rms(errors) < 3 * np.hypot(fit.model.offset_se, fit.model.offset_se)


def test_a_host_stall_moves_least_squares_and_not_the_envelope() -> None:
    sensor, host = arrivals(30.0, 9, stall=(10.0, 4.0))
    middle = 15.0
    true = 100.0 + (1 + 30e-6) * middle
    fit = fit_clock(sensor, host)
    assert abs(float(fit.model.to_recording(middle)) - true) < 1e-3
    assert abs(float(least_squares(sensor, host)(middle)) - true) > 50e-3
    assert len(fit.steps) == 0


@pytest.mark.parametrize("size", [-35.0, 40.0])
def test_a_jump_of_the_host_clock_is_found_and_taken_out(size: float) -> None:
    sensor, host = arrivals(60.0, 10)
    jumped = host + np.where(sensor > 25.0, size, 0.0)
    fit = fit_clock(sensor, jumped)
    assert len(fit.steps) == 1
    assert fit.steps[0] == pytest.approx([25.0, size], abs=0.03)
    assert fit.model.drift == pytest.approx(30e-6, abs=400e-6)
    assert len(find_host_steps(sensor, host)) == 0


def test_too_few_packets_are_refused_with_the_numbers() -> None:
    with pytest.raises(ValueError, match="5 packets over"):
        fit_clock(np.arange(5.0), np.arange(5.0))
