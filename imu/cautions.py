"""What must be said wherever swings are asked for or numbers are handed over."""

BEFORE_SWINGING: tuple[str, ...] = (
    "Nobody within reach of the club or in line with the ball.",
    "Check sensors, straps and grip before each set.",
    "Warm up first and build up speed gradually.",
    "Stop on pain, numbness, clicking or loss of grip.",
    "See a doctor about wrist or palm pain that stays, or that follows hitting the ground.",
    "Do not go on tired: more data is no reason for more swings.",
)
"""Shown before recording."""

READING_NUMBERS: tuple[str, ...] = (
    "Not a medical device: it does not diagnose, and it does not predict injury.",
    "Do not chase more lag or more hinge because a number is low.",
    "The numbers describe repeatability; no study known to us shows that they predict results.",
    "A qualified coach or clinician decides what to change.",
)
"""Shown beside results."""

YOUNG_PLAYERS = "Young players: a parent or guardian agrees to the recording."

NOT_SEEN = (
    "Two sensors see the lead forearm and the club. Head, trunk, hips, legs and feet are not seen, "
    "and nothing is said of them."
)
"""What the measurement cannot speak of."""

CAUTIONS: tuple[str, ...] = (*BEFORE_SWINGING, *READING_NUMBERS, YOUNG_PLAYERS)
"""All of them, in order."""
