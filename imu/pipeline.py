"""The only composer: a recording and settings in, an analysis out. No input or output here."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

import imu
from imu.columns import CURVE_COLUMNS, EVENTS, METRICS, SWING_COLUMNS
from imu.further_sensors import further_curve_columns, further_swing_columns
from imu.fusion.estimate import SessionFit
from imu.fusion.mirror import mirror
from imu.fusion.parts import SolvedSwing, solve_parts
from imu.fusion.report import describe_parts
from imu.fusion.samples import cut_swing
from imu.fusion.setup_check import check_gravity_felt, without_swings
from imu.fusion.setup_finding import SetupFinding
from imu.fusion.uncertainty import motion_errors
from imu.recordings.synchronise import align, filter_delay
from imu.settings import AnalysisSettings
from imu.swings.belt import add_belt
from imu.swings.curves import swing_curves
from imu.swings.find import find_swings
from imu.swings.measure import measure_swing
from imu.swings.practice import ReturnLead, as_if_struck, return_lead
from imu.swings.quality import judge, judge_setup, missing_in_words
from imu.swings.standard_errors import Noise, rate_noise, standard_errors
from imu.types import (
    BALL,
    BELT,
    CLUB,
    FOREARM,
    AlignedStreams,
    Analysis,
    ClockModel,
    Recording,
    SwingWindow,
)
from imu.units import DEG

Progress = Callable[[float, str], None]

FIT_STEP = 0.004
"""Time base of the fit, s."""


def analyse(
    recording: Recording,
    settings: AnalysisSettings | None = None,
    progress: Progress | None = None,
) -> Analysis:
    """Find, fuse and measure every swing of a recording.

    progress : called with the share done (0 to 1) and what is being done.
    Raises SwingspreadError when the recording lacks a sensor, its clocks can't be tied, or a
    sensor does not feel gravity.
    """
    chosen = settings or AnalysisSettings()
    tell = progress or (lambda share, what: None)
    tell(0.0, "aligning the clocks")
    aligned = align(recording)
    if recording.manifest.player.handedness == "left":
        aligned = mirror(aligned)
    check_gravity_felt(aligned.streams)
    tell(0.1, "finding swings")
    found = find_swings(aligned)
    windows = list(found.swings)
    tell(0.2, "estimating the motion")
    cut = [cut_swing(aligned, window, FIT_STEP) for window in windows]
    whole = [samples for samples in cut if samples is not None]
    if not whole:
        return _empty(recording, chosen, aligned, windows, found.rejected)
    numbers = [n for n, samples in enumerate(cut, start=1) if samples is not None]
    solved = solve_parts(aligned, whole, numbers, recording.manifest)
    usual = return_lead(
        [swing.motion for swing in solved.swings],
        [samples.window for samples in whole],
        chosen,
    )
    noise = Noise(
        rate=rate_noise(aligned.streams[CLUB].gyr),
        delay=filter_delay(recording, CLUB)[1],
    )
    belt = aligned.streams.get(BELT)
    belt_clock = _clock_error(recording, aligned, BELT) if belt is not None else math.nan
    rows: list[dict[str, Any]] = []
    curves: list[Mapping[str, np.ndarray]] = []
    fits = iter(solved.swings)
    for number, (window, samples) in enumerate(zip(windows, cut, strict=True), start=1):
        tell(0.5 + 0.5 * (number - 1) / len(windows), f"measuring swing {number}")
        if samples is None:
            rows.append(_lost(number, window))
            continue
        row, curve = _measure(
            number, window, next(fits), solved.findings, usual, noise, recording, chosen
        )
        if belt is not None:
            row, curve = add_belt(row, curve, belt, belt_clock)
        rows.append(row)
        curves.append(curve)
    delays = [filter_delay(recording, role)[1] for role in (FOREARM, CLUB)]
    clock = _with_shift(aligned.clocks[FOREARM], solved.main.fit, math.hypot(*delays))
    swings = _with_club_clock(pd.DataFrame(rows), aligned.clocks[CLUB])
    columns = [*CURVE_COLUMNS, *further_curve_columns(aligned.streams)]
    tell(1.0, "done")
    return Analysis(
        recording_id=recording.id,
        version=imu.__version__,
        handedness=recording.manifest.player.handedness,
        settings=chosen.as_dict(),
        swings=swings[[*SWING_COLUMNS, *further_swing_columns(aligned.streams)]],
        curves=_curve_table(curves, columns, aligned.clocks[CLUB]),
        calibration=describe_parts(solved.parts, recording.manifest),
        clock=clock,
        rejected=found.rejected,
        warnings=(
            *aligned.warnings,
            *recording.faults,
            *(found.words for found in solved.findings),
        ),
    )


def _curve_table(
    curves: Sequence[Mapping[str, np.ndarray]], columns: Sequence[str], club: ClockModel
) -> pd.DataFrame:
    """Curves of all swings, one below the other.

    Times in 64 bits, the rest in 32, which hold far more than the sensors know.
    """
    joined: dict[str, np.ndarray] = {}
    for name in columns:
        if name != "t_club_clock_us":
            values = np.concatenate([curve[name] for curve in curves])
            narrow = values.dtype == np.float64 and not name.startswith("t_")
            joined[name] = values.astype(np.float32) if narrow else values
    joined["t_club_clock_us"] = club.to_sensor(joined["t_s"]) * 1e6
    return pd.DataFrame({name: joined[name] for name in columns})


def _measure(
    number: int,
    window: SwingWindow,
    solved: SolvedSwing,
    findings: Sequence[SetupFinding],
    usual: ReturnLead,
    noise: Noise,
    recording: Recording,
    settings: AnalysisSettings,
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Row of the swing table and curves of one swing."""
    club, arm_length = recording.manifest.club, recording.manifest.player.arm_length
    motion, fit, mounted = solved.motion, solved.session.fit, solved.session.mounted
    struck, remark = window, ""
    if window.kind != BALL:
        struck, remark = as_if_struck(motion, window, settings, usual)
    measured = measure_swing(motion, struck, club, arm_length, settings)
    errors = motion_errors(solved.tracks, fit, solved.fit, mounted, struck)
    stated = standard_errors(motion, struck, measured, errors, noise, club, arm_length, settings)
    quality = judge(motion, struck, measured, stated.metrics, solved.fit.residual)
    quality = judge_setup(quality, [found for found in findings if number in found.swings])
    said = [remark] if remark else []
    said += [*window.notes, *quality.reasons]
    said += missing_in_words(measured.notes)
    row: dict[str, Any] = {
        "swing": number,
        "kind": window.kind,
        "start_s": window.start,
        "end_s": window.end,
        "order_of_peaks": measured.order_of_peaks,
        "quality": quality.grade,
        "notes": "; ".join(said),
    }
    for event in EVENTS:
        row[f"{event}_s"] = measured.events.get(event, math.nan)
        row[f"{event}_s_se"] = stated.events.get(event, math.nan)
    for metric in METRICS:
        row[metric.name] = measured.metrics.get(metric.name, math.nan)
        row[metric.se_name] = stated.metrics.get(metric.name, math.nan)
        row[metric.se_swing_name] = stated.own.get(metric.name, math.nan)
    curve = swing_curves(motion, measured, club, arm_length)
    curve["swing"] = np.full(len(motion.time), number)
    curve["hinge_se_deg"] = errors.hinge_sigma(motion) / DEG
    return row, curve


def _lost(number: int, window: SwingWindow) -> dict[str, Any]:
    """Row of a swing that one sensor did not record."""
    row: dict[str, Any] = dict.fromkeys(SWING_COLUMNS, math.nan)
    why = "one sensor has no samples around this swing; nothing can be measured"
    row.update(
        swing=number,
        kind=window.kind,
        start_s=window.start,
        end_s=window.end,
        impact_s=window.impact,
        impact_s_se=window.impact_se,
        order_of_peaks="",
        quality="poor",
        notes="; ".join([*window.notes, why]),
    )
    return row


def _clock_error(recording: Recording, aligned: AlignedStreams, role: str) -> float:
    """How well a further sensor's times are known against the club's, s."""
    delays = [filter_delay(recording, one)[1] for one in (role, CLUB)]
    return math.hypot(aligned.clocks[role].offset_se, *delays)


def _with_club_clock(swings: pd.DataFrame, clock: ClockModel) -> pd.DataFrame:
    """The swing table with the events' times in the club sensor's own clock as well."""
    columns = {
        f"{event}_club_clock_us": clock.to_sensor(swings[f"{event}_s"].to_numpy(float)) * 1e6
        for event in EVENTS
    }
    kept = swings.drop(columns=[name for name in columns if name in swings])
    return pd.concat([kept, pd.DataFrame(columns, index=kept.index)], axis=1)


def _with_shift(clock: ClockModel, fit: SessionFit, delay_se: float) -> dict[str, Any]:
    """The forearm clock after the fit, as plain values.

    delay_se : s, how well the difference of the two filters' delays is known; it hides in the
    offset.
    """
    shared = fit.shared
    shift = shared.clock_shift
    se = math.hypot(math.sqrt(fit.covariance[-2, -2]), delay_se)
    return {
        "base": "club sensor's clock from its first sample",
        "forearm_reference_s": clock.reference,
        "forearm_offset_s": clock.offset + shift,
        "forearm_offset_se_s": se,
        "forearm_drift": clock.drift + shared.clock_drift,
        "forearm_drift_se": float(np.sqrt(fit.covariance[-1, -1])),
        "arrival_offset_s": clock.offset,
        "arrival_offset_se_s": clock.offset_se,
        "joint_correction_s": shift,
    }


def _empty(
    recording: Recording,
    settings: AnalysisSettings,
    aligned: AlignedStreams,
    windows: Sequence[SwingWindow],
    rejected: pd.DataFrame,
) -> Analysis:
    """An analysis without a measured swing."""
    rows = [_lost(number, window) for number, window in enumerate(windows, start=1)]
    columns = [*SWING_COLUMNS, *further_swing_columns(aligned.streams)]
    swings = _with_club_clock(pd.DataFrame(rows, columns=columns), aligned.clocks[CLUB])
    what = (
        f"no swing could be measured: one sensor has no samples around the {len(windows)} found"
        if windows
        else "no swings were found in this recording"
    )
    clock = aligned.clocks[FOREARM]
    others = {FOREARM: aligned.streams[CLUB], CLUB: aligned.streams[FOREARM]}
    swapped = replace(aligned, streams={r: replace(s, role=r) for r, s in others.items()})
    why = [] if windows else without_swings(aligned.streams, find_swings(swapped).swings)
    return Analysis(
        recording_id=recording.id,
        version=imu.__version__,
        handedness=recording.manifest.player.handedness,
        settings=settings.as_dict(),
        swings=swings[columns],
        curves=pd.DataFrame(columns=[*CURVE_COLUMNS, *further_curve_columns(aligned.streams)]),
        calibration={},
        clock={
            "base": "club sensor's clock from its first sample",
            "forearm_offset_s": clock.offset,
            "forearm_offset_se_s": clock.offset_se,
        },
        rejected=rejected,
        warnings=(
            *aligned.warnings,
            *recording.faults,
            what,
            *why,
        ),
    )
