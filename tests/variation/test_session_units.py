"""Variation within and between groups of readings, against published worked examples.

Subjects and repeats stand in the papers where sessions and swings stand here.
"""

from __future__ import annotations

import numpy as np
import pytest

from imu.variation.intervals import column_sd
from imu.variation.session_units import session_log_sds, session_means, within_sessions
from imu.variation.shift import one_sample_shift

# Bland & Altman 1986, Lancet 1:307-310, table 1: peak expiratory flow, l/min.
WRIGHT_1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
WRIGHT_2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
MINI_1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
MINI_2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def test_paired_differences_of_bland_and_altman():
    differences = np.subtract(WRIGHT_1, MINI_1).astype(float)
    assert one_sample_shift(differences).difference.value == pytest.approx(-2.117647, abs=1e-6)
    assert column_sd(differences) == pytest.approx(38.765130, abs=1e-6)


@pytest.mark.parametrize(
    ("repeats", "printed", "recomputed"),
    [((WRIGHT_1, WRIGHT_2), 15.3, 15.306669), ((MINI_1, MINI_2), 19.9, 19.910831)],
    ids=["Wright", "mini Wright"],
)
def test_spread_within_subjects_of_bland_and_altman(repeats, printed, recomputed):
    subjects = np.tile(np.arange(17).astype(str), 2)
    within = within_sessions(np.concatenate(repeats).astype(float), subjects).std(ddof=1)
    assert within == pytest.approx(recomputed, abs=1e-6)
    assert round(within, 1) == printed


def test_parts_of_variance_of_shrout_and_fleiss():
    """Shrout & Fleiss 1979, Psychol Bull 86:420-428, table 2: intraclass correlations (1,1), (2,1)
    and (3,1), printed .17, .29 and .71, from the mean squares that the table's parts give."""
    table = np.array(
        [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
    )
    n, k = table.shape
    targets, judges = (axis.astype(str).ravel() for axis in np.indices(table.shape))
    between = k * column_sd(session_means(table.ravel(), targets)[1]) ** 2
    raters = n * column_sd(session_means(table.ravel(), judges)[1]) ** 2
    within = column_sd(within_sessions(table.ravel(), targets)) ** 2
    error = (within * n * (k - 1) - raters * (k - 1)) / ((n - 1) * (k - 1))
    one_way = (between - within) / (between + (k - 1) * within)
    random = (between - error) / (between + (k - 1) * error + k * (raters - error) / n)
    fixed = (between - error) / (between + (k - 1) * error)
    assert (one_way, random, fixed) == pytest.approx((0.165742, 0.289764, 0.714841), abs=1e-6)


def test_a_session_of_two_swings_has_no_spread_and_one_alone_none_within():
    sessions = np.array(["a", "a", "b", "b", "b"])
    labels, log_sd = session_log_sds(np.array([1.0, 2.0, 1.0, 2.0, 4.0]), sessions)
    assert labels.tolist() == ["b"] and np.isfinite(log_sd).all()
    alone = within_sessions(np.array([1.0, 2.0]), np.array(["a", "b"]))
    assert np.isnan(alone).all()
