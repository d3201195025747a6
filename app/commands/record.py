"""`swingspread record`: two sensors to a recording, with each swing's numbers as it goes."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from app.clubs import CLUB_LENGTHS_CM, usual_length_cm
from imu.further_sensors import ROLE_CODES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from app.recording_screen import RecordingScreen
    from imu.recorder.find import FoundSensor
    from imu.recorder.finish import Finished
    from imu.recorder.folder import JournalFolder
    from imu.recorder.radio import Radio, Sighting
    from imu.types import Club, Manifest
    from imu.variation.blocks import FollowedPlan

HELP = "record swings from the sensors into the library, with live numbers"
EXAMPLES = """\
  swingspread record --player "Robin Field" --club 7-iron --block practice
  swingspread record --club driver --club-length 115 --block pressure --seconds 900
  swingspread record --player "Robin Field" --belt-sensor
  swingspread record --plan april-test --player "Robin Field"
  swingspread record --virtual --seconds 60

With --plan the blocks of a kept plan are said one after another, each swing is counted in the
block at hand, and the recording comes out with its blocks labelled. A block begins when the rest
before it is over, or at Enter; the first at Enter, or at once where nobody can press a key.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread record`."""
    from app.commands.sensors import add_virtual

    who = parser.add_argument_group("who and what")
    who.add_argument("--player", default="", help="name of the player")
    who.add_argument("--left-handed", action="store_true", help="the player swings left-handed")
    who.add_argument(
        "--arm-length", type=float, default=62.0, metavar="CM", help="shoulder to wrist (62)"
    )
    who.add_argument(
        "--club", default="7-iron", metavar="NAME", help=f"{', '.join(CLUB_LENGTHS_CM)} or your own"
    )
    who.add_argument("--club-length", type=float, metavar="CM", help="measured length of the club")
    who.add_argument("--session", default="", help="label of the session")
    who.add_argument("--block", default="", help="label of the block, such as practice or pressure")
    who.add_argument("--plan", metavar="NAME", help="follow the blocks of a plan kept earlier")
    who.add_argument(
        "--plan-session",
        type=int,
        metavar="N",
        help="session of the plan (the first not yet recorded)",
    )
    who.add_argument(
        "--step-by-hand",
        action="store_true",
        help="begin each block only when told to, at Enter or on the Record page",
    )
    who.add_argument("--name", default="", help="name of the recording")
    who.add_argument("--notes", default="", help="free text")
    worn = parser.add_argument_group("sensors")
    worn.add_argument("--forearm-sensor", metavar="SERIAL", help="the sensor on the lead forearm")
    worn.add_argument("--club-sensor", metavar="SERIAL", help="the sensor on the shaft")
    for role in ROLE_CODES:
        worn.add_argument(
            f"--{role}-sensor",
            metavar="SERIAL",
            nargs="?",
            const="",
            help=f"record a further sensor, on the {role}; without SERIAL the one whose role it is",
        )
    worn.add_argument(
        "--wrist-distance", type=float, metavar="CM", help="forearm sensor to the wrist (6)"
    )
    worn.add_argument(
        "--butt-distance", type=float, metavar="CM", help="butt of the club to its sensor (33)"
    )
    worn.add_argument("--rate", type=int, metavar="HZ", help="sampling rate (as the sensor is set)")
    add_virtual(worn)  # type: ignore[arg-type]
    parser.add_argument("--seconds", type=float, metavar="N", help="end by itself after N seconds")
    parser.add_argument(
        "--resume", action="store_true", help="go on with the latest interrupted recording"
    )
    parser.add_argument(
        "--no-analysis", action="store_true", help="do not analyse the recording at the end"
    )
    parser.add_argument("--journals", metavar="FOLDER", help="where to record")
    parser.add_argument("--library", metavar="FOLDER", help="library to add to")


def run(arguments: argparse.Namespace) -> int:
    """Record until Ctrl-C or the time is up, then put it into the library and analyse it."""
    import asyncio

    from app.planned_session import compare_words
    from app.recording_screen import RecordingScreen
    from imu.recorder.finish import finish_recording
    from imu.recordings.library import Library

    declared_club(arguments)
    plan = planned(arguments)
    screen = RecordingScreen()
    folder = asyncio.run(_record(arguments, screen, plan))
    finished = finish_recording(folder, Library(arguments.library))
    if finished is None:
        print("no sample was received; nothing was kept", file=sys.stderr)
        return 1
    print(f"kept as {finished.entry.line()}")
    for fault in finished.faults:
        print(f"  {fault}")
    if not arguments.no_analysis and {"forearm", "club"} <= set(finished.entry.samples):
        _analyse(arguments.library, finished)
    if finished.entry.plan is not None:
        print(compare_words(finished.entry.plan.name, Library(arguments.library)))
    return 0


def _analyse(library: str | None, finished: Finished) -> None:
    from app.chosen import analysed
    from app.commands.analyse import print_summary

    print_summary(analysed(library, finished.entry.id))


def _clock_doubt(library: str | None) -> str:
    from datetime import datetime

    from imu.moments import clock_doubt, moment
    from imu.recordings.library import Library

    moments = [moment(entry.recorded_at) for entry in Library(library).entries()]
    return clock_doubt(datetime.now().astimezone(), max(moments)) if moments else ""


def planned(arguments: argparse.Namespace) -> FollowedPlan | None:
    """The session of the plan to follow; None without a plan. Raises SwingspreadError."""
    from app.planned_session import session_to_follow
    from imu.errors import SwingspreadError
    from imu.recordings.library import Library

    if arguments.plan is None:
        if arguments.plan_session is not None:
            raise SwingspreadError("--plan-session: name the plan too, with --plan")
        return None
    for given, option in ((arguments.block, "--block"), (arguments.resume, "--resume")):
        if given:
            whose = (
                "an interrupted recording keeps its own plan"
                if arguments.resume
                else ("the plan names the blocks")
            )
            raise SwingspreadError(f"{option} with --plan: {whose}; leave one of them out")
    library = Library(arguments.library)
    return session_to_follow(
        library.path, library.entries(), arguments.plan, arguments.plan_session
    )


async def _record(
    arguments: argparse.Namespace, screen: RecordingScreen, plan: FollowedPlan | None
) -> JournalFolder:
    from pathlib import Path

    from app.commands.sensors import open_radio
    from imu.errors import SwingspreadError
    from imu.recorder.folder import default_journals, interrupted, new_folder
    from imu.recorder.plan_steps import follow_plan

    root = Path(arguments.journals) if arguments.journals else default_journals()
    screen.cautions()
    if doubt := _clock_doubt(arguments.library):
        screen.say(f"warning: {doubt}")
    if arguments.virtual:
        screen.say("preparing the virtual sensors ...")
    async with open_radio(arguments.virtual, further_roles(arguments)) as (radio, virtual_player):
        screen.say("looking for sensors ...")
        chosen = await choose_sensors(radio, arguments)
        for role, sensor in chosen.items():
            screen.found(role, sensor)
        for role in ("forearm", "club", *further_roles(arguments)):
            if role not in chosen:
                lack = "" if role in ROLE_CODES else "; hinge, lag and release cannot be known"
                screen.say(f"no {role} sensor: recording without it{lack}")
        if plan is not None and not {"forearm", "club"} <= set(chosen):
            raise SwingspreadError(
                "a plan counts swings, which takes both sensors; bring the other one near, or "
                "record without --plan"
            )
        if arguments.resume:
            left = interrupted(root)
            if not left:
                raise SwingspreadError("no interrupted recording to go on with")
            folder = left[-1]
            screen.say(f"going on with {folder.name}")
        else:
            folder = new_folder(root, manifest(arguments, chosen, virtual_player))
            if plan is not None:
                follow_plan(folder, plan)
        with folder.hold():
            await _session(radio, folder, chosen, arguments, screen)
    return folder


async def _session(
    radio: Radio,
    folder: JournalFolder,
    chosen: dict[str, FoundSensor],
    arguments: argparse.Namespace,
    screen: RecordingScreen,
) -> None:
    import asyncio
    import subprocess

    from app.one_thread import one_thread_environment
    from app.recording_plan import PlanGuide
    from imu.recorder.session import RecordingSession
    from imu.recordings.notes import read_notes

    session = RecordingSession(
        radio,
        folder,
        {role: sensor.serial for role, sensor in chosen.items()},
        addresses={role: sensor.address for role, sensor in chosen.items()},
        rate_hz=arguments.rate,
        watcher=screen.states,
        resume=arguments.resume,
    )
    live = None
    if {"forearm", "club"} <= set(chosen):
        live = subprocess.Popen(
            [sys.executable, "-m", "imu.recorder.live", str(folder.path)],
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            env=one_thread_environment(),
        )
    with stop_on_signals(session.stop, screen):
        screen.say("recording; Ctrl-C ends it")
        shown = {asyncio.create_task(screen.swings(folder))}
        if read_notes(folder.path).plan is not None:
            guide = PlanGuide(folder, screen, arguments.step_by_hand)
            shown.add(asyncio.create_task(guide.follow()))
        try:
            await session.run(arguments.seconds)
            await asyncio.sleep(0.3)
        finally:
            for task in shown:
                task.cancel()
            await asyncio.wait(shown)
            screen.clear()
            if live is not None:
                live.terminate()
                live.wait()


def stop_on_signals(stop: object, screen: RecordingScreen):  # type: ignore[no-untyped-def]
    """While the block runs, Ctrl-C and a closed terminal end the recording cleanly."""
    import asyncio
    import contextlib
    import signal
    import types

    loop = asyncio.get_running_loop()
    assert isinstance(stop, asyncio.Event)

    def handle(number: int, _frame: types.FrameType | None) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        screen.say("ending; fetching what the sensors still hold (Ctrl-C again: end at once)")
        loop.call_soon_threadsafe(stop.set)

    @contextlib.contextmanager
    def handling():  # type: ignore[no-untyped-def]
        names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
        before = {
            getattr(signal, name): signal.signal(getattr(signal, name), handle)
            for name in names
            if hasattr(signal, name)
        }
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    return handling()


async def choose_sensors(radio: Radio, arguments: argparse.Namespace) -> dict[str, FoundSensor]:
    """Find the sensors and say which is worn where.

    Raises SwingspreadError when none is heard or the choice is not clear.
    """
    from imu.errors import SwingspreadError
    from imu.recorder.find import choose_roles, find_sensors

    wanted = {"forearm": arguments.forearm_sensor, "club": arguments.club_sensor}
    wanted |= {role: _further(arguments, role) or None for role in further_roles(arguments)}
    named = {serial.lower() for serial in wanted.values() if serial}

    def enough(heard: Sequence[Sighting]) -> bool:
        serials = {sighting.serial.lower() for sighting in heard}
        return named <= serials and len(heard) >= len(wanted)

    found = await find_sensors(radio, 8.0, enough)
    if not found:
        raise SwingspreadError(
            "no sensor was heard; is one charged, switched on and near? "
            "Without sensors, try --virtual"
        )
    problems = [f"sensor {s.serial}: {s.problem}" for s in found if s.problem]
    chosen = choose_roles(found, wanted)
    if not chosen:
        raise SwingspreadError("; ".join(problems) or "no usable sensor was heard")
    return chosen


def further_roles(arguments: argparse.Namespace) -> list[str]:
    """Roles beside forearm and club that were asked for."""
    return [role for role in ROLE_CODES if _further(arguments, role) is not None]


def _further(arguments: argparse.Namespace, role: str) -> str | None:
    serial: str | None = getattr(arguments, f"{role}_sensor")
    return serial


def declared_club(arguments: argparse.Namespace) -> Club:
    """The club as declared. Raises SwingspreadError when its length cannot be known."""
    from imu.errors import SwingspreadError
    from imu.types import Club

    length = arguments.club_length or usual_length_cm(arguments.club)
    if length is None:
        raise SwingspreadError(
            f"club {arguments.club!r}: length unknown; give it with --club-length CM, or use one "
            f"of {', '.join(CLUB_LENGTHS_CM)}"
        )
    if not 50.0 <= length <= 140.0:
        raise SwingspreadError(f"--club-length {length:g}: give centimetres from 50 to 140")
    return Club(arguments.club, length / 100.0)


def manifest(
    arguments: argparse.Namespace,
    chosen: dict[str, FoundSensor],
    virtual_player: Manifest | None,
) -> Manifest:
    """All that is known before the first sample."""
    from dataclasses import replace
    from datetime import datetime

    from imu.recordings.names import clean_label
    from imu.types import Manifest, Player

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
