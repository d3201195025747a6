"""Lining swings up: each lies where its own event says, at its own samples' values."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from imu.figures.alignment import ALIGNMENTS, align_curves, display_grid, gapped


@pytest.mark.parametrize("alignment", list(ALIGNMENTS))
def test_a_curve_is_read_at_its_own_events_time(analysis: Any, alignment: str) -> None:
    """Against numpy's own interpolation of the samples, shifted by hand."""
    aligned = align_curves([(analysis.curves, analysis.swings)], ("hinge_deg",), alignment)
    swing = analysis.swings.iloc[6]
    curve = analysis.curves[analysis.curves["swing"] == swing["swing"]]
    at = aligned.grid + swing[ALIGNMENTS[alignment]]
    inside = (at >= curve["t_s"].iloc[0]) & (at <= curve["t_s"].iloc[-1])
    wanted = np.interp(at[inside], curve["t_s"], curve["hinge_deg"])
    assert aligned.values["hinge_deg"][6][inside] == pytest.approx(wanted, abs=1e-4)
    assert np.isnan(aligned.values["hinge_deg"][6][~inside]).all()


def test_the_event_lined_up_at_is_at_zero_for_every_swing(analysis: Any) -> None:
    for alignment, event in (("impact", "impact"), ("takeaway", "takeaway"), ("top", "club_top")):
        aligned = align_curves([(analysis.curves, analysis.swings)], ("hinge_deg",), alignment)
        assert np.abs(aligned.events[event]).max() == 0.0


def test_a_swing_without_the_event_is_left_out_not_misplaced(analysis: Any) -> None:
    swings = analysis.swings.copy()
    swings.loc[2, "takeaway_s"] = np.nan
    aligned = align_curves([(analysis.curves, swings)], ("hinge_deg",), "takeaway")
    assert "3" not in aligned.labels
    assert len(aligned.labels) == len(swings) - 1


def test_two_recordings_keep_their_keys_apart(make_analysis: Any) -> None:
    parts = []
    for place, seed in enumerate((1, 2)):
        one = make_analysis(5, seed)
        parts.append((one.curves, one.swings.assign(key=one.swings["swing"] + 10_000 * place)))
    aligned = align_curves(parts, ("hinge_deg",), "impact")
    assert aligned.labels == ("1", "2", "3", "4", "5", "10001", "10002", "10003", "10004", "10005")
    assert not np.allclose(
        aligned.values["hinge_deg"][0], aligned.values["hinge_deg"][5], equal_nan=True
    )


def test_the_grid_is_finest_around_impact_and_keeps_to_its_budget() -> None:
    few, many = display_grid(-1.2, 0.4, 0.0, 10), display_grid(-1.2, 0.4, 0.0, 1000)
    steps = np.diff(few)
    near = steps[(few[:-1] > -0.28) & (few[:-1] < 0.08)].max()
    far = steps[few[:-1] < -0.5].min()
    assert near < 0.5 * far
    assert len(many) < len(few)
    assert 0.0 in few and 0.0 in many


def test_no_swings_give_empty_curves(analysis: Any) -> None:
    aligned = align_curves([(analysis.curves, analysis.swings.iloc[:0])], ("hinge_deg",))
    assert aligned.labels == () and aligned.values["hinge_deg"].shape == (0, 0)


def test_a_gap_parts_each_swing_from_the_next() -> None:
    x, y = gapped(np.array([0.0, 1.0]), np.array([[1, 2], [3, 4]], np.float32))
    assert np.isnan(x[[2, 5]]).all() and np.isnan(y[[2, 5]]).all()
    assert y[[0, 1, 3, 4]].tolist() == [1, 2, 3, 4]
    assert x.dtype == y.dtype == np.float32
