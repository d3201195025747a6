"""Names that are safe as files on every platform, whatever a person typed."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from imu.errors import SwingspreadError
from imu.types import CLUB, FOREARM

LABEL_LENGTH = 120
"""Greatest length of a label (name, session, block) in characters."""

_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")
_ROLE = re.compile(r"[a-z][a-z0-9_]{0,31}")


def is_reserved(name: str) -> bool:
    """True for a file name that some platform keeps for devices."""
    return bool(_RESERVED.fullmatch(name.lower()))


def roles_in_order(roles: Iterable[str]) -> list[str]:
    """Sensor roles as they are shown everywhere: forearm, club, then others by name."""
    first = (FOREARM, CLUB)
    given = set(roles)
    return [*(role for role in first if role in given), *sorted(given.difference(first))]


def check_role(role: str) -> str:
    """The role itself, when it can be a file name.

    Any role is allowed ("forearm", "club", "belt"): a lower-case letter, then up to 31 of
    lower-case letters, digits and underscores. Raises SwingspreadError otherwise.
    """
    if not _ROLE.fullmatch(role) or is_reserved(role):
        raise SwingspreadError(
            f"sensor role {role!r} cannot be a file name; use lower-case letters, digits and _"
        )
    return role


def clean_label(text: str, what: str = "name") -> str:
    """A label without surrounding space, in one Unicode spelling (NFC).

    Raises SwingspreadError when it is too long or holds control characters: those can hide in
    a terminal or a page. Path characters are harmless here, as labels never become paths.
    """
    label = unicodedata.normalize("NFC", text).strip()
    if len(label) > LABEL_LENGTH:
        raise SwingspreadError(
            f"{what}: {len(label)} characters; shorten it to {LABEL_LENGTH} or fewer"
        )
    if any(unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") for letter in label):
        raise SwingspreadError(f"{what}: take out line breaks and control characters: {label!r}")
    return label


def file_name(text: str, fallback: str = "recording", length: int = 48) -> str:
    """A file name made from any text: ASCII letters, digits and hyphens, never reserved."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    slug = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:length].strip("-")
    return fallback if not slug or is_reserved(slug) else slug


def recording_file_name(name: str, recording_id: str) -> str:
    """What a recording's files or folder are called when handed out: its name, and the start of
    its id, which tells it from others of that name."""
    return f"{file_name(name)}-{recording_id[:8]}"


def printable(text: str) -> str:
    """Text for a terminal: control characters, which could steer it, become spaces."""
    return "".join(
        " " if unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") else letter
        for letter in text
    )
