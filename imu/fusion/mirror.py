"""Left-handed players are mirrored here, once, on entry; nothing later knows handedness."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from imu.types import AlignedStreams, Stream

_ACC_SIGNS = np.array([-1.0, 1.0, 1.0])
_GYR_SIGNS = np.array([1.0, -1.0, -1.0])


def mirror_stream(stream: Stream) -> Stream:
    """What the sensor's mirror image would have felt in a mirrored world.

    Reflecting x, vectors change the sign of x; angular velocity, an axial vector, keeps x and
    changes the other two.
    """
    return replace(stream, acc=stream.acc * _ACC_SIGNS, gyr=stream.gyr * _GYR_SIGNS)


def mirror(aligned: AlignedStreams) -> AlignedStreams:
    """Mirror every stream."""
    return replace(aligned, streams={role: mirror_stream(s) for role, s in aligned.streams.items()})
