"""Recordings of random samples, for tests that keep, label and delete them."""

from __future__ import annotations

import numpy as np

from imu.recordings.content import make_recording
from imu.types import CLUB, FOREARM, Manifest, Recording, Stream


def random_recording(manifest: Manifest, seed: int, samples: int = 50) -> Recording:
    """Both sensors at 100 Hz; another seed gives another recording."""
    random = np.random.default_rng(seed)
    streams = {
        role: Stream(
            role,
            np.arange(samples) / 100,
            random.normal(size=(samples, 3)),
            random.normal(size=(samples, 3)),
            np.arange(samples),
            np.full(samples, np.nan),
            100.0,
        )
        for role in (FOREARM, CLUB)
    }
    return make_recording(manifest, streams)
