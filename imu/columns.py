"""Names, units and meanings of every column in the tables: read by pages, commands, exports."""

from __future__ import annotations

from collections.abc import Iterable

from imu.further_sensors import ROLE_METRICS
from imu.metric import Metric

_OURS = "our definition"
_TIMING = "our definition; range: common practice, no source"
_PENDULUM = "our definition; double-pendulum theory (White 2006, Am J Phys 74:1088)"
_ISB = "angle between long axes; parts after Wu et al. 2005, J Biomech 38:981-992"
_ZHENG = "our definition; range from Zheng et al. 2008, Int J Sports Med 29:487-497"
_GRIP = "The shaft against the forearm through the grip, not the hand against the radius."
_ARC = "An arc approximation from rates, not a tracked path."
_PLANE = "our definition; phases after Kwon et al. 2012, Sports Biomech 11:127-148"

METRICS: tuple[Metric, ...] = (
    Metric(
        "backswing_ms",
        "Backswing time",
        "ms",
        "Takeaway to the club's last change of direction.",
        _TIMING,
        500,
        1400,
        "time",
        headline=True,
        caution="A slow start makes the takeaway hard to place.",
    ),
    Metric(
        "downswing_ms",
        "Downswing time",
        "ms",
        "The club's last change of direction to impact.",
        _TIMING,
        150,
        450,
        "time",
        headline=True,
    ),
    Metric(
        "tempo_ratio",
        "Tempo ratio",
        "",
        "Backswing time divided by downswing time.",
        _TIMING,
        1.5,
        6,
        "ratio",
        headline=True,
    ),
    Metric(
        "overlap_ms",
        "Overlap of arm and club",
        "ms",
        "How long the lead arm comes down before the club does; positive when the arm goes first.",
        _OURS,
        -60,
        150,
        "time",
        headline=True,
    ),
    Metric(
        "release_ms",
        "Release before impact",
        "ms",
        "Time before impact at which the hinge is 10° below its greatest value in the downswing.",
        _PENDULUM,
        20,
        160,
        "time",
        headline=True,
        caution="Depends on the threshold: 1° reads tens of milliseconds earlier.",
    ),
    Metric(
        "release_onset_ms",
        "Release onset before impact",
        "ms",
        "Time before impact of the greatest hinge in the downswing.",
        _PENDULUM,
        20,
        220,
        "time",
        caution="The top of a flat curve: less certain than the 10° release.",
    ),
    Metric(
        "release_arm_angle_deg",
        "Arm angle at release",
        "°",
        "How far the forearm still has to turn in the swing plane from release to impact.",
        _PENDULUM,
        20,
        150,
        "angle",
        headline=True,
    ),
    Metric(
        "lag_at_parallel_deg",
        "Lag at shaft parallel",
        "°",
        "Hinge angle when the shaft is horizontal on the way down.",
        _PENDULUM,
        20,
        130,
        "angle",
        headline=True,
    ),
    Metric(
        "hinge_max_deg",
        "Greatest hinge",
        "°",
        "Greatest hinge angle in the downswing.",
        _ISB,
        50,
        150,
        "angle",
        headline=True,
        caution=_GRIP,
    ),
    Metric(
        "hinge_at_top_deg",
        "Hinge at the top",
        "°",
        "Hinge angle at the club's last change of direction.",
        _ISB,
        40,
        150,
        "angle",
        caution=_GRIP,
    ),
    Metric(
        "hinge_at_impact_deg",
        "Hinge at impact",
        "°",
        "Hinge angle at impact.",
        _ISB,
        0,
        60,
        "angle",
        headline=True,
    ),
    Metric(
        "hinge_at_impact_from_address_deg",
        "Hinge at impact against address",
        "°",
        "Hinge angle at impact less that at address.",
        _ISB,
        -30,
        40,
        "angle",
    ),
    Metric(
        "wrist_share",
        "Wrist share of speed after parallel",
        "",
        "Part of the clubhead speed gained after shaft parallel that comes from the wrists.",
        _PENDULUM,
        0.2,
        1.6,
        "ratio",
        headline=True,
        model=True,
        caution="Takes the arm to turn about a fixed shoulder.",
    ),
    Metric(
        "plane_shift_deg",
        "Plane shift",
        "°",
        "Inclination of the shaft's plane early down less in delivery; positive: starts steeper.",
        _PLANE,
        -40,
        40,
        "angle",
        headline=True,
    ),
    Metric(
        "near_line_m",
        "Length near the target line",
        "m",
        "Length of the clubhead's local arc within the tolerance of the line at impact.",
        _OURS,
        0.2,
        1.5,
        "length",
        model=True,
        caution=_ARC,
    ),
    Metric(
        "near_line_ms",
        "Time near the target line",
        "ms",
        "Time the clubhead's local arc spends within the tolerance of the line at impact.",
        _OURS,
        3,
        50,
        "time",
        model=True,
        caution=_ARC,
    ),
    Metric(
        "peak_hinge_rate_deg_s",
        "Greatest opening rate",
        "°/s",
        "Greatest rate at which the hinge opens before impact.",
        _OURS,
        300,
        3000,
        "rate",
    ),
    Metric(
        "peak_hinge_rate_ms",
        "Greatest opening rate before impact",
        "ms",
        "Time before impact of the greatest opening rate.",
        _OURS,
        0,
        120,
        "time",
    ),
    Metric(
        "peak_club_rate_deg_s",
        "Greatest club rate",
        "°/s",
        "Greatest turning rate of the shaft in the swing plane before impact.",
        _ZHENG,
        800,
        4000,
        "rate",
    ),
    Metric(
        "peak_club_rate_ms",
        "Greatest club rate before impact",
        "ms",
        "Time before impact of the greatest club rate.",
        _OURS,
        0,
        80,
        "time",
    ),
    Metric(
        "peak_arm_rate_deg_s",
        "Greatest arm rate",
        "°/s",
        "Greatest turning rate of the forearm in the swing plane before impact.",
        _OURS,
        300,
        1800,
        "rate",
    ),
    Metric(
        "peak_arm_rate_ms",
        "Greatest arm rate before impact",
        "ms",
        "Time before impact of the greatest arm rate.",
        _OURS,
        0,
        180,
        "time",
    ),
    Metric(
        "clubhead_speed_m_s",
        "Clubhead speed",
        "m/s",
        "Clubhead speed just before impact: arm about a fixed shoulder, club about the wrist.",
        _PENDULUM,
        15,
        65,
        "speed",
        headline=True,
        model=True,
        caution="Shows change within a player, not a radar's speed.",
    ),
    Metric(
        "closure_deg",
        "Shaft roll at impact against address",
        "°",
        "Turn of the shaft about its own axis, impact against address; positive closes the face.",
        _OURS,
        -40,
        40,
        "angle",
        caution="The shaft at the sensor; the head also twists and bends.",
    ),
    Metric(
        "closure_rate_deg_s",
        "Shaft roll rate at impact",
        "°/s",
        "Turning rate of the shaft about its own axis just before impact; positive closes.",
        _OURS,
        -500,
        4000,
        "rate",
    ),
    Metric(
        "address_time_s",
        "Time over the ball",
        "s",
        "From settling over the ball to takeaway.",
        _OURS,
        0,
        60,
        "time",
    ),
    Metric(
        "waggle_count",
        "Waggles",
        "",
        "Small movements of the club between settling over the ball and takeaway.",
        _OURS,
        0,
        10,
        "count",
    ),
)
"""Metrics in the order shown."""

METRIC_BY_NAME = {
    metric.name: metric
    for metric in (*METRICS, *(one for more in ROLE_METRICS.values() for one in more))
}

EVENTS = ("takeaway", "arm_top", "club_top", "release", "shaft_parallel", "impact", "finish")
"""Events in their usual order; columns ``<event>_s`` and ``<event>_club_clock_us``."""

SWING_COLUMNS: tuple[str, ...] = (
    "swing",
    "kind",
    "start_s",
    "end_s",
    *(f"{event}_s" for event in EVENTS),
    *(f"{event}_s_se" for event in EVENTS),
    *(f"{event}_club_clock_us" for event in EVENTS),
    *(column for metric in METRICS for column in metric.columns),
    "order_of_peaks",
    "quality",
    "notes",
)
"""The swing table: one row a swing. ``swing`` counts from 1. ``quality`` is good, fair or poor."""

CURVE_COLUMNS: dict[str, str] = {
    "swing": "",
    "t_s": "s",
    "t_club_clock_us": "us",
    "t_from_impact_s": "s",
    "hinge_deg": "°",
    "hinge_se_deg": "°",
    "ulnar_deviation_deg": "°",
    "flexion_deg": "°",
    "pronation_deg": "°",
    "hinge_rate_deg_s": "°/s",
    "arm_rate_deg_s": "°/s",
    "club_rate_deg_s": "°/s",
    "clubhead_speed_m_s": "m/s",
    "plane_inclination_deg": "°",
    **{f"{segment}_q{part}": "" for segment in ("arm", "club") for part in "wxyz"},
    "reconstructed": "",
}
"""The curve table: one row a sample, with units. Quaternions turn segment axes to world axes."""


def metrics_in(columns: Iterable[str]) -> tuple[Metric, ...]:
    """All metrics of a swing table with these columns, further sensors' last."""
    there = set(columns)
    further = [one for more in ROLE_METRICS.values() for one in more if one.name in there]
    return (*METRICS, *further)


def headline_metrics() -> tuple[Metric, ...]:
    """The metrics that carry the coach's question, in the order shown."""
    return tuple(metric for metric in METRICS if metric.headline)
