"""The truth of a whole simulated session, gathered as plain values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from imu.simulate.kinematics import Body
from imu.simulate.plan import SessionPlan
from imu.simulate.profiles import SensorDraw
from imu.simulate.sensor import Measured
from imu.simulate.strokes import FULL
from imu.simulate.timeline import Timeline
from imu.simulate.truth import measure_swing
from imu.types import CLUB


@dataclass(frozen=True, eq=False)
class SimulatedTruth:
    """What really happened. ``data`` : plain JSON values. ``curves`` : all swings' curves, with
    ``swing`` from 1 on and ``t_club_clock_us``. Orientations are those of a right-handed player
    (a left-handed one is the mirror image)."""

    data: Mapping[str, Any]
    curves: pd.DataFrame

    @property
    def swings(self) -> list[dict[str, Any]]:
        """Full swings: kind, events_s (true time), events_club_clock_us, values, drawn."""
        return list(self.data["swings"])


def session_truth(
    plan: SessionPlan,
    profile: str,
    seed: int,
    line: Timeline,
    body: Body,
    draws: Mapping[str, SensorDraw],
    measured: Mapping[str, Measured],
) -> SimulatedTruth:
    """What really happened in a session that was played: events, values, curves, clocks.

    line : the session as played. body : its exact movement. draws, measured : per role, the
    errors drawn for the sensor and what it gave.
    """
    swings: list[dict[str, Any]] = []
    partial: list[dict[str, Any]] = []
    curves: list[pd.DataFrame] = []
    clock = draws[CLUB]

    def club_us(time: float) -> float:
        return (clock.clock_offset + (1.0 + clock.clock_skew) * time) * 1e6

    for played in line.swings:
        found = measure_swing(
            body, played.times, played.kind, plan.player.arm_length, played.club.wrist_to_head
        )
        entry = {
            "kind": played.kind,
            "shape": played.shape,
            "club": played.club.name,
            "start_s": played.start,
            "end_s": played.end,
            "events_s": _known(found.events),
            "events_club_clock_us": _known({k: club_us(v) for k, v in found.events.items()}),
            "values": {
                **_known(found.values),
                "waggle_count": played.waggles,
                "address_time_s": found.events["takeaway"] - played.settled,
            },
            "drawn": played.numbers.as_dict(),
            "ball_slows_club_rad_s": played.slowed,
        }
        if played.shape == FULL:
            swings.append({"swing": len(swings) + 1, **entry})
            table = found.curves
            table.insert(0, "swing", len(swings))
            table.insert(2, "t_club_clock_us", [club_us(t) for t in table["t_s"]])
            curves.append(table)
        else:
            partial.append(entry)
    sensors = {}
    for role, draw in draws.items():
        seen = measured[role]
        sensors[role] = {
            "mount_xyzw": seen.site.mount.as_quat().tolist(),
            "point_from_wrist_m": seen.site.point.tolist(),
            "gyr_bias_rad_s": draw.gyr_bias.tolist(),
            "acc_bias_m_s2": draw.acc_bias.tolist(),
            "gyr_matrix": draw.gyr_matrix.tolist(),
            "acc_matrix": draw.acc_matrix.tolist(),
            "clock_offset_s": draw.clock_offset,
            "clock_skew": draw.clock_skew,
            "filter_delay_s": draw.filter_delay,
            "latency_s": draw.latency,
            "lost_samples": seen.lost,
            "clipped_acc": int(seen.clipped_acc.sum()),
            "clipped_gyr": int(seen.clipped_gyr.sum()),
        }
    data = {
        "seed": seed,
        "profile": profile,
        "duration_s": line.now,
        "handedness": plan.player.handedness,
        "arm_length_m": plan.player.arm_length,
        "club_length_m": plan.club.length,
        "wrist_from_butt_m": plan.club.wrist_from_butt,
        "clock_rule": "sensor clock s = clock_offset_s + (1 + clock_skew) * true time",
        "mount_rule": "sensor to segment (x volar, y proximal, z towards the little finger), "
        "right-handed player; left-handed: the streams mirrored in sensor y",
        "sensors": sensors,
        "swings": swings,
        "partial_swings": partial,
        "other_movements": [
            {"type": o.type, "start_s": o.start, "end_s": o.end, **o.facts} for o in line.others
        ],
    }
    table = pd.concat(curves, ignore_index=True) if curves else pd.DataFrame()
    return SimulatedTruth(data, table)


def _known(values: Mapping[str, float]) -> dict[str, float | None]:
    """Plain JSON: what a short stroke does not have is None."""
    return {name: None if math.isnan(value) else float(value) for name, value in values.items()}
