"""What is declared of a recording on the command line, before the first sample."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from datetime import datetime

from app.clubs import CLUB_LENGTHS_CM, usual_length_cm
from app.planned_session import session_to_follow
from imu.errors import SwingspreadError
from imu.further_sensors import ROLE_CODES
from imu.recorder.find import FoundSensor
from imu.recordings.library import Library
from imu.recordings.names import clean_label
from imu.types import Club, Manifest, Player
from imu.variation.blocks import FollowedPlan

RANGES = {
    "arm_length": (30.0, 110.0, "centimetres"),
    "club_length": (50.0, 140.0, "centimetres"),
    "wrist_distance": (0.0, 35.0, "centimetres"),
    "butt_distance": (0.0, 120.0, "centimetres"),
    "rate": (50, 8000, "samples a second"),
}
"""What can be declared, from the least to the greatest."""


def check_declared(arguments: argparse.Namespace) -> None:
    """Raises SwingspreadError, naming the option, when something declared cannot be."""
    for name, (least, greatest, unit) in RANGES.items():
        given = getattr(arguments, name)
        if given is not None and not least <= given <= greatest:
            option = f"--{name.replace('_', '-')}"
            raise SwingspreadError(
                f"{option} {given:g}: give {unit} from {least:g} to {greatest:g}"
            )
    for name in ("player", "session", "block", "name", "notes"):
        if arguments.resume and getattr(arguments, name):
            raise SwingspreadError(
                f"--{name} with --resume: an interrupted recording keeps what was declared at its "
                "beginning; leave it out, and label the recording afterwards with `swingspread "
                "label`"
            )
    club = declared_club(arguments)
    if arguments.butt_distance is not None and arguments.butt_distance >= 100.0 * club.length:
        raise SwingspreadError(
            f"--butt-distance {arguments.butt_distance:g}: lies beyond the end of the club "
            f"({100.0 * club.length:g} cm)"
        )
    for name in ("player", "club", "name", "session", "block"):
        clean_label(getattr(arguments, name), f"--{name}")


def declared_club(arguments: argparse.Namespace) -> Club:
    """The club as declared. Raises SwingspreadError when its length cannot be known."""
    length = arguments.club_length
    if length is None:
        length = usual_length_cm(arguments.club)
    if length is None:
        raise SwingspreadError(
            f"club {arguments.club!r}: length unknown; give it with --club-length CM, or use one "
            f"of {', '.join(CLUB_LENGTHS_CM)}"
        )
    return Club(clean_label(arguments.club, "club"), length / 100.0)


def manifest(
    arguments: argparse.Namespace,
    chosen: dict[str, FoundSensor],
    virtual_player: Manifest | None,
) -> Manifest:
    """All that is known before the first sample."""
    player = Player(
        clean_label(arguments.player, "player"),
        "left" if arguments.left_handed else "right",
        arguments.arm_length / 100.0,
    )
    sensors: dict[str, dict[str, object]] = {
        role: {"serial": s.serial} for role, s in chosen.items()
    }
    for role, key, distance in (
        ("forearm", "distance_to_wrist", arguments.wrist_distance),
        ("club", "distance_from_butt", arguments.butt_distance),
    ):
        if distance is not None and role in sensors:
            sensors[role][key] = distance / 100.0
    known = Manifest(
        player=player,
        club=declared_club(arguments),
        name=clean_label(arguments.name, "name"),
        session=clean_label(arguments.session, "session"),
        block=clean_label(arguments.block, "block"),
        recorded_at=datetime.now().astimezone().isoformat(timespec="seconds"),
        notes=arguments.notes,
        sensors=sensors,
        source="recorded",
    )
    if virtual_player is None:
        return known
    facts = {
        role: {**virtual_player.sensors.get(role, {}), **facts} for role, facts in sensors.items()
    }
    return replace(
        known,
        player=replace(virtual_player.player, name=player.name or "Virtual player"),
        club=virtual_player.club,
        sensors=facts,
        notes=" ".join(filter(None, [arguments.notes, virtual_player.notes])),
        source="simulated",
    )


def not_of_virtual_player(arguments: argparse.Namespace, virtual_player: Manifest | None) -> str:
    """What was declared and does not hold of the virtual player, in a sentence; "" for nothing."""
    if virtual_player is None or arguments.resume:
        return ""
    player, club = virtual_player.player, virtual_player.club
    length, arm = arguments.club_length, arguments.arm_length / 100.0
    said = {
        "--club": declared_club(arguments).name != club.name,
        "--club-length": length is not None and not math.isclose(length / 100.0, club.length),
        "--arm-length": arm not in (Player("").arm_length, player.arm_length),
        "--left-handed": arguments.left_handed and player.handedness != "left",
    }
    options = [option for option, differs in said.items() if differs]
    if not options:
        return ""
    return (
        f"the virtual player swings a {club.name} of {100.0 * club.length:g} cm, "
        f"{player.handedness}-handed; {' and '.join(options)} cannot change that, and the "
        "recording says how it was swung"
    )


def planned(arguments: argparse.Namespace) -> FollowedPlan | None:
    """The session of the plan to follow; None without a plan. Raises SwingspreadError."""
    if arguments.plan is None:
        if arguments.plan_session is not None:
            raise SwingspreadError("--plan-session: name the plan too, with --plan")
        return None
    for given, option in ((arguments.block, "--block"), (arguments.resume, "--resume")):
        if given:
            own = "an interrupted recording keeps its own plan"
            whose = own if arguments.resume else "the plan names the blocks"
            raise SwingspreadError(f"{option} with --plan: {whose}; leave one of them out")
    library = Library(arguments.library)
    return session_to_follow(
        library.path, library.entries(), arguments.plan, arguments.plan_session
    )


def further_roles(arguments: argparse.Namespace) -> list[str]:
    """Roles beside forearm and club that were asked for."""
    return [role for role in ROLE_CODES if further_sensor(arguments, role) is not None]


def further_sensor(arguments: argparse.Namespace, role: str) -> str | None:
    """What was said of a further role: its sensor's serial, "" for any; None for nothing."""
    serial: str | None = getattr(arguments, f"{role}_sensor")
    return serial
