"""What the library holds to choose from, said where a choice fits nothing."""

from __future__ import annotations

from collections.abc import Sequence

from imu.recordings.library_entry import LibraryEntry

MOST_SHOWN = 10
"""Labels of one kind that are named."""


def known_labels(entries: Sequence[LibraryEntry]) -> list[str]:
    """One indented line a kind: the players, clubs, sessions and blocks of these recordings."""
    held = [entry.manifest for entry in entries if entry.manifest is not None]
    lines = []
    for word, labels in (
        ("player", {facts.player.name for facts in held}),
        ("club", {facts.club.name for facts in held}),
        ("session", {facts.session for facts in held}),
        ("block", {label for one in entries for label in _blocks(one)}),
    ):
        known = sorted(label for label in labels if label)
        if known:
            more = ", …" if len(known) > MOST_SHOWN else ""
            lines.append(f"  {word}: {', '.join(known[:MOST_SHOWN])}{more}")
    return lines


def with_known_labels(said: str, entries: Sequence[LibraryEntry]) -> str:
    """The sentence, and below it what there is; alone where there is nothing."""
    lines = known_labels(entries)
    return "\n".join([f"{said}; there are:", *lines]) if lines else said


def _blocks(entry: LibraryEntry) -> tuple[str, ...]:
    return entry.blocks or ((entry.manifest.block,) if entry.manifest is not None else ())
