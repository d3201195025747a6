"""What the figures hold: traces, units, numbers, and nothing by colour alone."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd
import pytest

from imu.columns import METRIC_BY_NAME
from imu.figures.alignment import align_curves
from imu.figures.bands import sd_at_each_time
from imu.figures.curve_names import CURVES, curves_in
from imu.figures.distribution import distribution_figure
from imu.figures.overlay import LINES_UP_TO, OverlayChoices, overlay_figure
from imu.figures.swing_curves import EVENT_MARKS, swing_figure
from imu.figures.theme import DARK, DASHES, LIGHT, SYMBOLS
from imu.figures.trend import trend_figure
from imu.figures.two_sets import two_sets_figure


def traces(figure: Any, role: str) -> list[Any]:
    return [trace for trace in figure.data if trace.meta and trace.meta.get("role") == role]


@pytest.fixture(scope="module")
def aligned(analysis: Any) -> Any:
    return align_curves([(analysis.curves, analysis.swings)], tuple(CURVES), "impact")


def test_all_swings_of_a_panel_are_one_trace_with_their_numbers(aligned: Any) -> None:
    figure = overlay_figure(aligned, OverlayChoices())
    swings = traces(figure, "swings")
    assert len(swings) == 3
    for trace in swings:
        assert np.asarray(trace.y).dtype == np.float32
        assert len(set(np.asarray(trace.customdata).tolist())) == len(aligned.labels)
    assert list(swings[0].meta["labels"]) == list(aligned.labels)


def test_the_median_and_the_band_are_those_of_numpy(aligned: Any) -> None:
    figure = overlay_figure(aligned, OverlayChoices(columns=("hinge_deg",)))
    lines = aligned.values["hinge_deg"]
    full = np.isfinite(lines).all(axis=0)
    (median,) = traces(figure, "median")
    assert np.asarray(median.y)[full] == pytest.approx(np.median(lines[:, full], axis=0), abs=1e-3)
    (spread,) = traces(figure, "spread")
    wanted = lines[:, full].astype(float).std(axis=0, ddof=1)
    assert np.asarray(spread.y)[full] == pytest.approx(wanted, abs=1e-3)


def test_a_spread_of_two_swings_is_not_drawn() -> None:
    assert np.isnan(sd_at_each_time(np.array([[1.0], [2.0]], np.float32))).all()


def test_highlighted_swings_differ_by_dash_as_well_as_colour(aligned: Any) -> None:
    figure = overlay_figure(
        aligned, OverlayChoices(highlighted=("3", "14"), columns=("hinge_deg",))
    )
    drawn = [trace for trace in traces(figure, "pick") if len(trace.x)]
    assert [trace.name for trace in drawn] == ["Swing 3", "Swing 14"]
    assert len({trace.line.dash for trace in drawn}) == 2
    assert len({trace.line.color for trace in drawn}) == 2
    row = aligned.labels.index("14")
    assert np.allclose(drawn[1].y, aligned.values["hinge_deg"][row], equal_nan=True)


def test_every_panel_says_its_quantity_and_unit_and_the_axis_its_event(aligned: Any) -> None:
    figure = overlay_figure(aligned, OverlayChoices())
    words = " ".join(annotation.text for annotation in figure.layout.annotations)
    for heading, unit in CURVES.values():
        assert f"{heading}, {unit}" in words
    assert figure.layout.xaxis.title.text == "ms from impact"


def test_a_further_sensors_curve_has_a_panel_and_gaps_where_others_lack_it(
    analysis: Any, make_analysis: Any
) -> None:
    belt = np.sin(analysis.curves["t_from_impact_s"].to_numpy()) * 100.0
    with_belt = analysis.curves.assign(belt_turn_rate_deg_s=belt)
    other = make_analysis(4, seed=2)
    columns = curves_in([*with_belt.columns, *other.curves.columns])
    aligned = align_curves(
        [(with_belt, analysis.swings), (other.curves, other.swings)], columns, "impact"
    )
    lines = aligned.values["belt_turn_rate_deg_s"]
    count = len(analysis.swings)
    at = int(np.argmin(np.abs(aligned.grid + 0.1)))
    assert lines[:count, at] == pytest.approx(100.0 * np.sin(-0.1), abs=0.2)
    assert np.isnan(lines[count:]).all()
    figure = overlay_figure(aligned, OverlayChoices(columns=columns))
    said = [note.text for note in figure.layout.annotations]
    assert any("Belt turn rate, °/s" in text for text in said)
    (drawn,) = [
        trace
        for trace in figure.data
        if trace.meta["role"] == "swings" and trace.meta["panel"] == 4
    ]
    assert np.nanmin(np.asarray(drawn.y)) == pytest.approx(np.nanmin(lines), abs=1e-3)
    alone = overlay_figure(aligned, OverlayChoices(columns=("belt_turn_rate_deg_s",)))
    assert {t.meta.get("panel") for t in alone.data} <= {None, 1}


def test_takeaway_times_are_drawn_where_they_happened(analysis: Any, aligned: Any) -> None:
    figure = overlay_figure(aligned, OverlayChoices())
    (takeaways,) = [t for t in traces(figure, "events") if t.meta["event"] == "takeaway"]
    wanted = 1e3 * (analysis.swings["takeaway_s"] - analysis.swings["impact_s"])
    assert list(takeaways.meta["moments"]) == pytest.approx(wanted.tolist(), abs=0.06)


def test_many_swings_become_a_density_that_holds_all_of_them(make_analysis: Any) -> None:
    many = make_analysis(LINES_UP_TO + 30, seed=5, rate_hz=125.0)
    aligned = align_curves([(many.curves, many.swings)], ("hinge_deg",), "impact")
    figure = overlay_figure(aligned, OverlayChoices(columns=("hinge_deg",)))
    (density,) = traces(figure, "density")
    assert np.asarray(density.z).max() == 255
    (swings,) = traces(figure, "swings")
    assert swings.visible is False
    assert len(swings.y) == len(aligned.labels) * len(aligned.grid)


def test_one_swing_marks_every_event_on_every_curve(analysis: Any, aligned: Any) -> None:
    row = analysis.swings.iloc[4]
    curves = analysis.curves[analysis.curves["swing"] == row["swing"]]
    events = {event: float(row[f"{event}_s"] - row["impact_s"]) for event in EVENT_MARKS}
    figure = swing_figure(
        curves["t_from_impact_s"].to_numpy(),
        {column: curves[column].to_numpy() for column in CURVES},
        events,
        aligned,
        errors=curves["hinge_se_deg"].to_numpy(),
    )
    marks = traces(figure, "events")
    assert len(marks) == 3
    for trace in marks:
        assert list(trace.meta["events"]) == list(EVENT_MARKS)
        assert np.asarray(trace.x) == pytest.approx(1e3 * np.array(list(events.values())))
    assert len({symbol for _, symbol in EVENT_MARKS.values()}) == len(EVENT_MARKS)
    impact = list(EVENT_MARKS).index("impact")
    assert marks[0].y[impact] == pytest.approx(float(row["hinge_at_impact_deg"]), abs=0.2)


def test_two_sets_are_told_apart_by_dash_and_symbol(make_analysis: Any) -> None:
    sides = []
    for seed in (1, 2):
        one = make_analysis(8, seed)
        sides.append(align_curves([(one.curves, one.swings)], ("hinge_deg",), "impact"))
    figure = two_sets_figure(*sides, ("practice", "pressure"), regions=[(-0.3, -0.1)])
    medians = traces(figure, "median")
    assert [trace.name for trace in medians] == ["practice", "pressure"]
    assert medians[0].line.dash != medians[1].line.dash
    symbols = [trace.marker.symbol for trace in traces(figure, "events")]
    assert symbols[0] != symbols[1]
    boxes = [shape for shape in figure.layout.shapes if shape.type == "rect"]
    assert (boxes[0].x0, boxes[0].x1) == (-300.0, -100.0)


def test_a_distribution_shows_every_swing_and_the_mean_with_one_sd() -> None:
    values = [np.array([1.0, 2.0, np.nan, 3.0]), np.array([4.0, 8.0])]
    labels = [["a", "b", "c", "d"], ["e", "f"]]
    figure = distribution_figure(values, ["A", "B"], labels, METRIC_BY_NAME["release_ms"])
    dots, means = traces(figure, "swings"), traces(figure, "mean")
    assert list(dots[0].text) == ["a", "b", "d"]
    assert means[0].x[0] == 2.0 and means[0].error_x.array[0] == pytest.approx(1.0)
    assert figure.layout.xaxis.title.text == "Release before impact, ms"


def test_a_trend_draws_sessions_in_time_with_their_intervals() -> None:
    rows = pd.DataFrame(
        {
            "date": ["2031-04-01", "2031-05-01"],
            "session_key": ["one", "two"],
            "swings": [20, 22],
            "mean": [80.0, 78.0],
            "mean_low": [77.0, 75.0],
            "mean_high": [84.0, 81.0],
            "sd": [9.0, 8.0],
            "sd_low": [7.0, 6.0],
            "sd_high": [13.0, 12.0],
        }
    )
    figure = trend_figure(rows, METRIC_BY_NAME["release_ms"])
    level, spread = traces(figure, "mean")[0], traces(figure, "sd")[0]
    assert list(level.error_y.array) == [4.0, 3.0] and list(level.error_y.arrayminus) == [3.0, 3.0]
    assert list(spread.y) == [9.0, 8.0]
    assert figure.layout.xaxis.type == "date"


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_colours_meet_the_contrast_that_wcag_asks_for(palette: Any) -> None:
    """WCAG 2.2: 4.5 for text (1.4.3), 3 for graphics (1.4.11)."""
    assert _contrast(palette.ink, palette.paper) >= 7.0
    assert _contrast(palette.quiet, palette.paper) >= 4.5
    for mark in (*palette.picks, *palette.sets):
        assert _contrast(mark, palette.paper) >= 3.0
    assert len(set(DASHES)) == len(set(SYMBOLS)) == len(palette.picks)


def _seen(colour: str, matrix: np.ndarray) -> np.ndarray:
    """Linear RGB as seen with a colour deficiency."""
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return matrix @ linear


DEFICIENCIES = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
}  # fmt: skip
"""Full deficiency after Machado et al. 2009, IEEE TVCG 15:1291-1298 (from memory)."""


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("deficiency", list(DEFICIENCIES))
def test_the_two_sets_stay_apart_for_the_colour_blind(palette: Any, deficiency: str) -> None:
    matrix = np.array(DEFICIENCIES[deficiency])
    one, other = (_seen(colour, matrix) for colour in palette.sets)
    assert np.abs(one - other).max() > 0.12


def test_no_figure_carries_text_below_twelve_pixels(aligned: Any) -> None:
    text = overlay_figure(aligned, OverlayChoices()).to_json()
    fonts = re.findall(r'font":\{[^}]*"size":(\d+)', text)
    assert min(int(size) for size in fonts) >= 12


def test_hundreds_of_sessions_are_small_marks_not_a_smear() -> None:
    days = pd.date_range("2025-01-01", periods=200, freq="3D").strftime("%Y-%m-%d")
    rows = pd.DataFrame(
        {"date": days, "session_key": days, "swings": 40, "mean": 80.0, "mean_low": 78.0,
         "mean_high": 82.0, "sd": 9.0, "sd_low": 7.0, "sd_high": 12.0}
    )  # fmt: skip
    metric = METRIC_BY_NAME["release_ms"]
    many, few = trend_figure(rows, metric), trend_figure(rows.iloc[:20], metric)
    assert many.data[0].marker.size < few.data[0].marker.size
    assert (many.data[0].mode, few.data[0].mode) == ("markers", "lines+markers")
    undated = trend_figure(rows.assign(date=""), metric).layout.xaxis
    assert undated.type == "linear" and 200 / undated.dtick <= 25
