"""The picture of a mode: the mean, and the curve two SDs along it both ways."""

from __future__ import annotations

import numpy as np
import pytest

from imu.figures.modes import mode_figure
from imu.figures.theme import PALETTES


@pytest.mark.parametrize("theme", sorted(PALETTES))
def test_a_mode_is_drawn_about_the_mean_and_told_apart_without_colour(theme: str) -> None:
    time = np.linspace(-0.8, 0.1, 50)
    mean, shape = 90.0 - 40.0 * time, np.sin(4.0 * time)
    figure = mode_figure(time, mean, shape, "hinge_deg", theme)
    one, middle, other = figure.data
    assert np.allclose(middle.y, mean)
    assert np.allclose(np.asarray(one.y) - mean, 2.0 * shape)
    assert np.allclose(np.asarray(other.y) - mean, -2.0 * shape)
    assert np.allclose(one.x, 1e3 * time)
    assert len({trace.line.dash for trace in figure.data}) == 3
    assert figure.layout.showlegend and {trace.name for trace in figure.data} >= {"mean"}
