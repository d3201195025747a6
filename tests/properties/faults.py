"""Does what the program does to its files, once for each file operation, killed at that operation;
then with a full disk, and with a folder that may not be written. Prints what went wrong as JSON.

A process of its own, so that the children it forks hold no other test's threads.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))

from invented_swings import invented_analysis
from random_recordings import random_recording

from app.deletion import erase, find_traces
from app.derived import cache_folder, keep, read_cached
from app.labelling import label
from app.preferences import Preferences, keep_preferences, read_preferences
from imu.errors import SwingspreadError
from imu.exports.archive import write_archive
from imu.recorder.finish import finish_recording
from imu.recorder.folder import all_folders, new_folder
from imu.recorder.journal import JournalWriter, Kind
from imu.recorder.packet import Flag, encode_packet, range_code
from imu.recorder.profile import SensorInfo, State
from imu.recordings.atomic import PART
from imu.recordings.library import Library
from imu.recordings.notes import SwingNote, read_notes, update_notes
from imu.recordings.saved_sets import SavedSet, read_saved_sets, update_saved_sets
from imu.recordings.store import read_recording
from imu.settings import AnalysisSettings
from imu.types import Club, Manifest, Player, Recording
from imu.variation.selection import Selection

KILLED, REFUSED, CRASHED = 9, 1, 70
IN_MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
"""Where there is one, files lie there: a busy disk takes its time, and none of its faults is meant
here."""
OPERATIONS = ("open", "os.rename", "os.mkdir", "os.remove", "os.rmdir", "shutil.rmtree")
SETTINGS = AnalysisSettings()
CODE = range_code(200, 4000)
ANALYSIS = invented_analysis(3, rate_hz=50.0)


def _recording(seed: int) -> Recording:
    facts = Manifest(Player("Ada"), Club("7-iron", 0.94), f"r{seed}")
    return random_recording(facts, seed, samples=200)


OLD, NEW = _recording(0), _recording(1)


def _add(place: Path) -> None:
    Library(place).add(NEW)


def _add_state(place: Path) -> str:
    library = Library(place)
    for entry in library.entries():
        assert not entry.problem, entry.problem
        read_recording(entry.folder, verify=True)
    return ",".join(sorted(entry.name for entry in library.entries()))


def _remove(place: Path) -> None:
    library = Library(place)
    library.delete(library.find(OLD.id))


def _note(place: Path) -> None:
    update_notes(place / OLD.id, lambda kept: replace(kept, block="new " * 20))


def _set(place: Path) -> None:
    one = SavedSet("new", Selection(players=tuple(f"player {n}" for n in range(40))))
    update_saved_sets(place, lambda saved: saved.with_set(one))


def _prefer(place: Path) -> None:
    keep_preferences(Preferences(speed_unit="mph"), place / "preferences.json")


def _keep(place: Path) -> None:
    keep(place / OLD.id, SETTINGS, ANALYSIS)


def _keep_state(place: Path) -> str:
    found = read_cached(place / OLD.id, SETTINGS)
    return "none" if found is None else f"{len(found.swings)} swings"


def _damage(place: Path) -> None:
    folder = cache_folder(place / OLD.id, SETTINGS)
    folder.mkdir(parents=True)
    (folder / "analysis.json").write_text("{")


def _archive(place: Path) -> None:
    def fill(folder: Path) -> list[Path]:
        (folder / "a.txt").write_text("new " * 2000)
        return [folder / "a.txt"]

    write_archive(place / "all.zip", fill)


def _archive_state(place: Path) -> str:
    import zipfile

    if not (place / "all.zip").exists():
        return "none"
    with zipfile.ZipFile(place / "all.zip") as packed:
        assert packed.testzip() is None
        return packed.read("a.txt").decode()[:4]


def _journals(place: Path) -> Path:
    return place / ".journals"


def _recorded(place: Path) -> None:
    """A recording made and noted on, not in the library yet."""
    folder = new_folder(_journals(place), Manifest(Player("Ada"), Club("7-iron", 0.94), "fresh"))
    info = SensorInfo("club", CODE, State.SAMPLING, 1000, 7, 30_000, 0, 380, 0, 0.06, 0.002)
    for role in ("forearm", "club"):
        writer = JournalWriter(folder.next_journal(role))
        writer.append(Kind.INFO, 0, info.encode())
        for seq in range(0, 380, 19):
            counts = [[seq + n, 0, 0, 0, 0, 0] for n in range(19)]
            sent = encode_packet(7, seq, seq * 1000, Flag(0), CODE, counts)
            writer.append(Kind.DATA, seq * 1_000_000, sent)
        writer.append_json(Kind.END, 1, {})
        writer.close()
    update_notes(folder.path, lambda kept: kept.with_swing(SwingNote(5, outcome="good")))


def _finish(place: Path) -> None:
    for folder in all_folders(_journals(place)):
        if not folder.finished_id:
            finish_recording(folder, Library(place))


def _finish_state(place: Path) -> str:
    names = _add_state(place)
    (folder,) = all_folders(_journals(place))
    if not folder.finished_id:
        return "not finished"
    entry = Library(place).find(folder.finished_id)
    return f"{names}: {read_notes(entry.folder).swings}"


def _begin(place: Path) -> None:
    new_folder(_journals(place), Manifest(Player("Ida"), Club("7-iron", 0.94), "begun"))


def _begin_state(place: Path) -> str:
    return ",".join({folder.manifest().name for folder in all_folders(_journals(place))})


def _delete_player(place: Path) -> None:
    library = Library(place)
    try:
        traces = find_traces(library, ["player=Ada"], _journals(place))
    except SwingspreadError as problem:
        if "nothing is kept" not in str(problem):
            raise
        return
    erase(library, traces)


def _delete_player_state(place: Path) -> str:
    library = Library(place)
    for entry in library.entries():
        read_recording(entry.folder, verify=True)
    left = [*library.entries(), *all_folders(_journals(place)), *read_saved_sets(place).sets]
    return "something" if left else "nothing"


def _rename(place: Path) -> None:
    library = Library(place)
    if any(e.manifest and e.manifest.player.name == "Ada" for e in library.entries()):
        label(library, ["player=Ada"], {"player": "Ida"}, _journals(place))


def _rename_state(place: Path) -> str:
    names = [entry.manifest.player.name for entry in Library(place).entries() if entry.manifest]
    return ",".join(names)


ACTIONS: dict[str, tuple[Callable[[Path], None], Callable[[Path], str]]] = {
    "add a recording": (_add, _add_state),
    "delete a recording": (_remove, _add_state),
    "write notes": (_note, lambda place: str(read_notes(place / OLD.id).block)),
    "save a set": (_set, lambda place: ",".join(read_saved_sets(place).sets)),
    "keep preferences": (
        _prefer,
        lambda place: read_preferences(place / "preferences.json").speed_unit,
    ),
    "keep an analysis": (_keep, _keep_state),
    "write an archive": (_archive, _archive_state),
    "finish a recording": (_finish, _finish_state),
    "begin a recording": (_begin, _begin_state),
    "delete a player": (_delete_player, _delete_player_state),
    "rename a player": (_rename, _rename_state),
}
MAY_REFUSE_QUIETLY = frozenset({"keep an analysis"})
"""A disk that refuses costs only the time to work it out again."""


def prepared(name: str) -> Path:
    """A library with one recording, and what else the action replaces."""
    place = Path(tempfile.mkdtemp(prefix="faults-", dir=IN_MEMORY))
    place.chmod(0o755)
    Library(place).add(OLD)
    if name == "write notes":
        update_notes(place / OLD.id, lambda kept: replace(kept, block="old"))
    if name == "save a set":
        old = SavedSet("old", Selection(players=("Ada",)))
        update_saved_sets(place, lambda saved: saved.with_set(old))
    if name == "keep preferences":
        keep_preferences(Preferences(speed_unit="km/h"), place / "preferences.json")
    if name == "keep an analysis":
        _damage(place)
    if name in ("finish a recording", "delete a player"):
        _recorded(place)
    if name == "delete a player":
        one = SavedSet("hers", Selection(players=("Ada",)))
        update_saved_sets(place, lambda saved: saved.with_set(one))
    return place


def outcome(action: Callable[[Path], None], place: Path) -> int:
    """Run the action here; the exit code it stands for."""
    try:
        action(place)
    except SwingspreadError as problem:
        return REFUSED if str(problem) else CRASHED
    except BaseException as problem:
        print(f"{type(problem).__name__}: {problem}", file=sys.stderr)
        return CRASHED
    return 0


def child(action: Callable[[Path], None], place: Path, before: Callable[[], None]) -> int:
    """Run the action in a forked process, which ``before`` makes faulty; its exit code."""
    pid = os.fork()
    if pid == 0:
        code = CRASHED
        try:
            before()
            code = outcome(action, place)
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def kill_at(number: int) -> Callable[[], None]:
    """Make the process end without a word at its ``number``-th file operation."""

    def before() -> None:
        count = 0

        def hook(event: str, arguments: tuple[Any, ...]) -> None:
            nonlocal count
            if event not in OPERATIONS:
                return
            if event == "open" and not (isinstance(arguments[2], int) and arguments[2] & 3):
                return
            count += 1
            if count == number:
                os._exit(KILLED)

        sys.addaudithook(hook)

    return before


def full_disk(size: int) -> Callable[[], None]:
    """No file may grow beyond ``size`` bytes."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


def not_allowed(place: Path) -> Callable[[], None]:
    """The folder and all in it may only be read."""

    def before() -> None:
        for path in (place, *place.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)
        if os.geteuid() == 0:
            os.setgid(65534)
            os.setuid(65534)

    return before


def check(name: str, seen: dict[str, int]) -> list[str]:
    """All faults for one action; what went wrong."""
    action, state = ACTIONS[name]
    place = prepared(name)
    old = state(place)
    assert outcome(action, place) == 0
    new = state(place)
    assert old != new, (name, old)
    shutil.rmtree(place)
    wrong = []
    for number in range(1, 200):
        place = prepared(name)
        code = child(action, place, kill_at(number))
        try:
            if state(place) not in (old, new):
                wrong.append(f"{name}, killed at operation {number}: {state(place)!r}")
            again = outcome(action, place)
            if state(place) != new and again not in (0, REFUSED):
                wrong.append(f"{name}, again after operation {number}: {state(place)!r}")
            if again == 0 and state(place) != new:
                wrong.append(f"{name}, again after operation {number}: nothing done")
        except (SwingspreadError, AssertionError, OSError) as problem:
            wrong.append(f"{name}, killed at operation {number}: {problem}")
        for left in place.rglob(f"*{PART}"):
            if not left.name.startswith("."):
                wrong.append(f"{name}: {left} is in the open")
        shutil.rmtree(place)
        seen["kills"] += code == KILLED
        if code == 0:
            break
    for size in (0, 10, 1000):
        place = prepared(name)
        code = child(action, place, full_disk(size))
        told = code == REFUSED or (name in MAY_REFUSE_QUIETLY and code == 0)
        if state(place) == new and code == 0:
            told = True
        if not told or state(place) not in (old, new):
            wrong.append(f"{name}, full disk at {size} bytes: exit {code}, {state(place)!r}")
        seen["full disks"] += 1
        shutil.rmtree(place)
    place = prepared(name)
    code = child(action, place, not_allowed(place))
    if code not in ((0, REFUSED) if name in MAY_REFUSE_QUIETLY else (REFUSED,)):
        wrong.append(f"{name}, folder that may not be written: exit {code}")
    if state(place) != old:
        wrong.append(f"{name}, folder that may not be written: {state(place)!r}")
    seen["locked folders"] += 1
    shutil.rmtree(place)
    return wrong


if __name__ == "__main__":
    seen = {"kills": 0, "full disks": 0, "locked folders": 0}
    wrong = [problem for name in sys.argv[1:] or ACTIONS for problem in check(name, seen)]
    print(json.dumps({"wrong": wrong, **seen}))
