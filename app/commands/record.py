"""`swingspread record`: two sensors to a recording, with each swing's numbers as it goes."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from app.arguments import (
    add_journals,
    add_library,
    journals_meant,
    number,
    seconds,
    whole_number,
)
from app.clubs import CLUB_LENGTHS_CM
from imu.further_sensors import ROLE_CODES

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Callable, Iterator, Sequence
    from contextlib import AbstractContextManager

    from app.recording_screen import RecordingScreen
    from imu.recorder.find import FoundSensor
    from imu.recorder.finish import Finished
    from imu.recorder.folder import JournalFolder
    from imu.recorder.radio import Radio, Sighting
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
        "--arm-length", type=number, default=62.0, metavar="CM", help="shoulder to wrist (62)"
    )
    who.add_argument(
        "--club", default="7-iron", metavar="NAME", help=f"{', '.join(CLUB_LENGTHS_CM)} or your own"
    )
    who.add_argument("--club-length", type=number, metavar="CM", help="measured length of the club")
    who.add_argument("--session", default="", help="label of the session")
    who.add_argument("--block", default="", help="label of the block, such as practice or pressure")
    who.add_argument("--plan", metavar="NAME", help="follow the blocks of a plan kept earlier")
    who.add_argument(
        "--plan-session",
        type=whole_number,
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
        "--wrist-distance", type=number, metavar="CM", help="forearm sensor to the wrist (6)"
    )
    worn.add_argument(
        "--butt-distance", type=number, metavar="CM", help="butt of the club to its sensor (33)"
    )
    worn.add_argument(
        "--rate", type=whole_number, metavar="HZ", help="sampling rate (as the sensor is set)"
    )
    add_virtual(worn)
    parser.add_argument(
        "--seconds",
        type=seconds,
        metavar="N",
        help="end by itself after N seconds, counted from when every sensor sends, or from 20 s "
        "after the beginning when one is silent by then",
    )
    parser.add_argument(
        "--resume", action="store_true", help="go on with the latest interrupted recording"
    )
    parser.add_argument(
        "--no-analysis", action="store_true", help="do not analyse the recording at the end"
    )
    add_journals(parser, "where to record")
    add_library(parser, "add to")


def run(arguments: argparse.Namespace) -> int:
    """Record until Ctrl-C or the time is up, then put it into the library and analyse it."""
    import asyncio

    from app.declared import check_declared, planned
    from app.planned_session import compare_words
    from app.recording_screen import RecordingScreen
    from imu.recorder.finish import finish_recording
    from imu.recordings.library import Library
    from imu.recordings.names import printable

    check_declared(arguments)
    plan = planned(arguments)
    screen = RecordingScreen()
    folder = asyncio.run(_record(arguments, screen, plan))
    finished = finish_recording(folder, Library(arguments.library))
    if finished is None:
        print(
            "no sample was received; nothing was kept (`swingspread recover --remove-empty` "
            "deletes the empty journals)",
            file=sys.stderr,
        )
        return 1
    print(f"kept as {printable(finished.entry.line())}")
    for fault in finished.faults:
        print(f"  {printable(fault)}")
    if not arguments.no_analysis and {"forearm", "club"} <= set(finished.entry.samples):
        _analyse(arguments.library, finished)
    plan = finished.entry.plan
    if plan is not None and (words := compare_words(plan.name, Library(arguments.library))):
        print(words)
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


async def _record(
    arguments: argparse.Namespace, screen: RecordingScreen, plan: FollowedPlan | None
) -> JournalFolder:
    from app.commands.sensors import open_radio
    from app.declared import further_roles, manifest, not_of_virtual_player
    from imu.errors import SwingspreadError
    from imu.recorder.folder import interrupted, new_folder
    from imu.recorder.plan_steps import follow_plan

    root = journals_meant(arguments)
    screen.cautions()
    if doubt := _clock_doubt(arguments.library):
        screen.say(f"warning: {doubt}")
    if arguments.virtual:
        screen.say("preparing the virtual sensors ...")
    async with open_radio(arguments.virtual, further_roles(arguments)) as (radio, virtual_player):
        if differs := not_of_virtual_player(arguments, virtual_player):
            screen.say(differs)
        screen.say("looking for sensors ...")
        chosen = await choose_sensors(radio, arguments, screen.say)
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
    for role, capture in session.captures.items():
        if not capture.intake.received:
            why = f" ({capture.status.problem})" if capture.status.problem else ""
            screen.say(
                f"{role}: sensor {capture.status.serial} sent no sample{why}; the recording has "
                f"nothing of the {role}"
            )


def stop_on_signals(stop: asyncio.Event, screen: RecordingScreen) -> AbstractContextManager[None]:
    """While the block runs, Ctrl-C and a closed terminal end the recording cleanly."""
    import asyncio
    import contextlib
    import os
    import signal
    import types

    loop = asyncio.get_running_loop()
    terminals = [number for number in (1, 2) if os.isatty(number)]

    def handle(number: int, _frame: types.FrameType | None) -> None:
        if number == getattr(signal, "SIGHUP", None):
            for terminal in terminals:  # closed: whoever writes to it would fail
                os.dup2(os.open(os.devnull, os.O_WRONLY), terminal)
        if stop.is_set():
            raise KeyboardInterrupt
        screen.say("ending; fetching what the sensors still hold (Ctrl-C again: end at once)")
        loop.call_soon_threadsafe(stop.set)

    @contextlib.contextmanager
    def handling() -> Iterator[None]:
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


async def choose_sensors(
    radio: Radio,
    arguments: argparse.Namespace,
    told: Callable[[str], object] = lambda problem: None,
) -> dict[str, FoundSensor]:
    """Find the sensors and say which is worn where; ``told`` hears why one cannot be used.

    Raises SwingspreadError when none is heard or the choice is not clear.
    """
    from app.declared import further_roles, further_sensor
    from imu.errors import SwingspreadError
    from imu.recorder.find import choose_roles, find_sensors

    wanted = {"forearm": arguments.forearm_sensor, "club": arguments.club_sensor}
    wanted |= {role: further_sensor(arguments, role) or None for role in further_roles(arguments)}
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
    for problem in problems:
        told(problem)
    return chosen
