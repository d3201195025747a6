"""`swingspread sets`: sets of swings kept under a name, and swings left out with the reason."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from app.arguments import add_library, whole_number

if TYPE_CHECKING:
    from imu.variation.selection import LeftOut, Selection, SwingKey

HELP = "keep sets of swings under a name; leave single swings out, with the reason"
EXAMPLES = """\
  swingspread sets list
  swingspread sets save spring "player=Ada,since=2026-03-01,until=2026-05-31"
  swingspread sets save best tuesday --pick tuesday:3,5,8
  swingspread sets save calm tuesday --leave-out "tuesday:4=the phone rang"
  swingspread sets show spring
  swingspread sets remove spring
  swingspread sets leave-out tuesday 4 "the phone rang"
  swingspread sets take-back tuesday 4
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread sets`."""
    place = argparse.ArgumentParser(add_help=False)
    add_library(place)
    place.add_argument("--json", action="store_true", help="print JSON instead of text")
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    actions.add_parser("list", parents=[place], help="the sets and plans kept")
    save = actions.add_parser("save", parents=[place], help="keep a set under a name")
    save.add_argument("name", metavar="NAME")
    save.add_argument("set", metavar="SET", help="a recording, saved set or selection")
    save.add_argument(
        "--pick",
        action="append",
        default=[],
        metavar="RECORDING:NUMBERS",
        help="only these swings, as tuesday:3,5,8; may be repeated",
    )
    save.add_argument(
        "--leave-out",
        action="append",
        default=[],
        metavar="RECORDING:NUMBERS=REASON",
        help="all but these, with the reason; may be repeated",
    )
    for name, said in (("show", "the swings of a saved set"), ("remove", "forget a saved set")):
        one = actions.add_parser(name, parents=[place], help=said)
        one.add_argument("name", metavar="NAME")
    out = actions.add_parser(
        "leave-out", parents=[place], help="leave a swing out of all statistics, with the reason"
    )
    back = actions.add_parser("take-back", parents=[place], help="count a swing again")
    for one in (out, back):
        one.add_argument("recording", metavar="RECORDING")
        one.add_argument("number", type=whole_number, metavar="SWING", help="number of the swing")
    out.add_argument("reason", metavar="REASON")


def run(arguments: argparse.Namespace) -> int:
    """Do the one thing asked."""
    actions = {
        "list": _list,
        "save": _save,
        "show": _show,
        "remove": _remove,
        "leave-out": _leave_out,
        "take-back": _leave_out,
    }
    return actions[arguments.action](arguments)


def _list(arguments: argparse.Namespace) -> int:
    from app import findings_table as out
    from imu.recordings.library import Library
    from imu.recordings.saved_sets import read_saved_sets

    saved = read_saved_sets(Library(arguments.library).path)
    if arguments.json:
        out.print_json(saved)
        return 0
    shown = out.console()
    if not saved.sets and not saved.plans:
        shown.print("no sets or plans are kept yet; `swingspread sets save` keeps one")
    if saved.sets:
        rows = [
            [one.name, describe(one.selection), one.saved_at[:10]] for one in saved.sets.values()
        ]
        out.print_table(shown, "Sets", ("name", "swings", "kept on"), rows, words=3)
    if saved.plans:
        rows = [
            [one.name, str(one.layout.get("question", "")), one.limits.set_at[:10]]
            for one in saved.plans.values()
        ]
        out.print_table(shown, "Plans", ("name", "what it can see", "kept on"), rows, words=3)
    return 0


def describe(selection: Selection) -> str:
    """The selection in one line."""
    from imu.variation.selection_words import write_selection

    parts = [write_selection(selection) or "all swings"]
    if selection.picked:
        parts.append(f"{len(selection.picked)} picked")
    if selection.left_out:
        parts.append(f"{len(selection.left_out)} left out by hand")
    return "; ".join(parts)


def _save(arguments: argparse.Namespace) -> int:
    import datetime
    from dataclasses import replace

    from app.swing_sets import what_is_meant
    from imu.errors import SwingspreadError
    from imu.recordings.library import Library
    from imu.recordings.saved_sets import SavedSet, check_set_name, update_saved_sets

    name = check_set_name(arguments.name)
    library = Library(arguments.library)
    selection, _, fitting = what_is_meant(library, arguments.set)
    picked = list(selection.picked)
    for text in arguments.pick:
        picked += _keys(arguments.library, text)
    left_out = list(selection.left_out)
    for text in arguments.leave_out:
        left_out += _left_out(arguments.library, text)
    held = {entry.id for entry in fitting}
    for key in (*picked, *(one.swing for one in left_out)):
        if key.recording_id not in held:
            raise SwingspreadError(
                f"recording {key.recording_id} is not in {arguments.set}, so none of its swings "
                "can be picked or left out; name a set that holds it"
            )
    selection = replace(
        selection, picked=tuple(dict.fromkeys(picked)), left_out=tuple(dict.fromkeys(left_out))
    )
    now = datetime.datetime.now().astimezone().isoformat(timespec="seconds")
    kept = SavedSet(name, selection, now)
    update_saved_sets(library.path, lambda saved: saved.with_set(kept))
    _done(arguments, {"set": kept}, f"{name}: {describe(selection)}")
    return 0


def _done(arguments: argparse.Namespace, document: dict[str, Any], said: str) -> None:
    """Print what was done, as it was asked for."""
    from app import findings_table as out

    if arguments.json:
        out.print_json(document)
    else:
        print(said)


def _keys(library: str | None, text: str) -> list[SwingKey]:
    from app.chosen import analysed
    from imu.errors import SwingspreadError
    from imu.variation.selection import SwingKey

    recording, sign, numbers = text.rpartition(":")
    try:
        wanted = [int(number) for number in numbers.split(",")]
    except ValueError:
        wanted = []
    if not sign or not wanted:
        raise SwingspreadError(f"{text!r}: write a recording and swing numbers, as tuesday:3,5,8")
    done = analysed(library, recording)
    impacts = dict(
        zip(
            done.analysis.swings["swing"].astype(int),
            done.analysis.swings["impact_club_clock_us"].astype(float),
            strict=True,
        )
    )
    for number in wanted:
        if number not in impacts or impacts[number] != impacts[number]:
            raise SwingspreadError(
                f"{recording} has no swing {number} with an impact; it has {len(impacts)} swings"
            )
    return [SwingKey(done.analysis.recording_id, impacts[number]) for number in wanted]


def _left_out(library: str | None, text: str) -> list[LeftOut]:
    from imu.errors import SwingspreadError
    from imu.variation.selection import LeftOut

    which, sign, reason = text.partition("=")
    if not sign or not reason.strip():
        raise SwingspreadError(f"{text!r}: give the reason, as tuesday:4=the phone rang")
    return [LeftOut(key, reason.strip()) for key in _keys(library, which)]


def _show(arguments: argparse.Namespace) -> int:
    from app import findings_table as out
    from app.swing_sets import swing_set
    from imu.recordings.library import Library
    from imu.recordings.saved_sets import read_saved_sets

    kept = read_saved_sets(Library(arguments.library).path).find_set(arguments.name)
    swings = swing_set(arguments.library, arguments.name, with_curves=False)
    columns = ["recording", "swing", "player", "club", "session", "block", "date", "kind"]
    if arguments.json:
        out.print_json({"set": kept, "swings": swings.swings[columns], "left_out": swings.left_out})
        return 0
    shown = out.console()
    shown.print(f"[bold]{out.safe(arguments.name)}[/bold]: {out.safe(describe(kept.selection))}")
    rows = [
        [str(recording), ", ".join(str(int(number)) for number in group["swing"])]
        for recording, group in swings.swings.groupby("recording", sort=False)
    ]
    out.print_table(shown, "", ("recording", "swings"), rows, words=2)
    out.print_lines(
        shown,
        "Left out" if len(swings.left_out) else "",
        [
            f"{row['recording']}, swing {row['swing']}: {row['reason']}"
            for row in swings.left_out.to_dict("records")
        ],
    )
    return 0


def _remove(arguments: argparse.Namespace) -> int:
    from imu.recordings.library import Library
    from imu.recordings.saved_sets import update_saved_sets

    library = Library(arguments.library)
    update_saved_sets(library.path, lambda saved: saved.without_set(arguments.name))
    said = f"{arguments.name}: forgotten; its swings stay in the library"
    _done(arguments, {"removed": arguments.name}, said)
    return 0


def _leave_out(arguments: argparse.Namespace) -> int:
    from dataclasses import replace

    from imu.errors import SwingspreadError
    from imu.recordings.library import Library
    from imu.recordings.notes import SwingNote, update_notes

    (key,) = _keys(arguments.library, f"{arguments.recording}:{arguments.number}")
    reason = arguments.reason.strip() if arguments.action == "leave-out" else ""
    if arguments.action == "leave-out" and not reason:
        raise SwingspreadError("give the reason why the swing is left out")
    impact = round(key.impact_club_clock_us)
    folder = Library(arguments.library).resolve(arguments.recording)
    update_notes(
        folder,
        lambda notes: notes.with_swing(
            replace(notes.find(impact) or SwingNote(impact), left_out=reason)
        ),
    )
    said = f"left out: {reason}" if reason else "counts again"
    _done(
        arguments,
        {"recording_id": key.recording_id, "swing": arguments.number, "left_out": reason},
        f"{arguments.recording}, swing {arguments.number}: {said}",
    )
    return 0
