"""Conversions between the SI units used inside and the units shown at the edges."""

import math

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall in m/s² (CGPM 1901)."""

DEG = math.pi / 180.0
"""One degree in radians: multiply to go in, divide to go out."""

MS = 1e-3
"""One millisecond in seconds."""

MPH = 0.44704
"""One mile an hour in m/s (exact, international mile)."""

ACCELERATION_TO_SI = {"m/s^2": 1.0, "g": STANDARD_GRAVITY, "mg": STANDARD_GRAVITY * 1e-3}
ANGULAR_RATE_TO_SI = {"rad/s": 1.0, "deg/s": DEG, "mdeg/s": DEG * 1e-3}
TIME_TO_SI = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
