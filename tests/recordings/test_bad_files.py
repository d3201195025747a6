"""Every kind of bad file has its own clear refusal, and the library stays as it was."""

from __future__ import annotations

import gzip
import json
import re
import shutil
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import loggers
import pytest

from app.cli import main

G = 9.80665
DEGREES = 57.29577951308232


@dataclass(frozen=True)
class Case:
    """One kind of bad input.

    own : words that this refusal alone has. says : further words: file, line, column, mend.
    """

    spoil: Callable[[Path], object]
    own: str
    says: tuple[str, ...] = ()
    arguments: tuple[str, ...] = field(default=())


def cell(
    name: str, text: str, line: int = 57, file: str = "forearm.csv"
) -> Callable[[Path], object]:
    return lambda folder: loggers.change_cell(folder / file, line, name, text)


def column(name: str, change: Callable[[float], str], *files: str) -> Callable[[Path], object]:
    def spoil(folder: Path) -> None:
        for file in files or ("forearm.csv",):
            for one in name.split():
                loggers.change_column(folder / file, one, change)

    return spoil


def lines(
    change: Callable[[list[str]], list[str]], file: str = "forearm.csv"
) -> Callable[[Path], object]:
    return lambda folder: loggers.change_lines(folder / file, change)


def meta(change: Callable[[dict], object]) -> Callable[[Path], object]:
    return lambda folder: loggers.change_meta(folder / "meta.json", change)


def content(
    make: Callable[[bytes], bytes], file: str = "forearm.csv", name: str = ""
) -> Callable[[Path], object]:
    def spoil(folder: Path) -> None:
        made = make((folder / file).read_bytes())
        (folder / file).unlink()
        (folder / (name or file)).write_bytes(made)

    return spoil


def column_map(**keys: object) -> Callable[[Path], object]:
    return lambda folder: (folder / "map.json").write_text(json.dumps(keys))


def folder_in_place_of_the_file(folder: Path) -> None:
    (folder / "forearm.csv").unlink()
    (folder / "forearm.csv").mkdir()


def take_gravity_out(folder: Path) -> None:
    for name, gravity in zip(ACC.split(), (-9.2, 1.1, 3.2), strict=True):
        column(name, lambda value, gravity=gravity: f"{value - gravity:.6f}")(folder)


def nothing(folder: Path) -> None:
    return None


def damaged_gzip(text: bytes) -> bytes:
    packed = bytearray(gzip.compress(text))
    packed[len(packed) // 2] ^= 0xFF
    packed[-8:-4] = struct.pack("<I", 1)
    return bytes(packed)


def copy_club_to_forearm(folder: Path) -> None:
    shutil.copy(folder / "club.csv", folder / "forearm.csv")
    loggers.change_meta(folder / "meta.json", lambda d: d["forearm_sensor"].update(rate_hz=400))


def exchange(folder: Path) -> None:
    (folder / "club.csv").rename(folder / "other.csv")
    (folder / "forearm.csv").rename(folder / "club.csv")
    (folder / "other.csv").rename(folder / "forearm.csv")


def exchange_with_rates(folder: Path) -> None:
    exchange(folder)
    loggers.change_meta(
        folder / "meta.json",
        lambda d: (
            d["forearm_sensor"].update(rate_hz=400),
            d["club_sensor"].update(rate_hz=200),
        ),
    )


def belt(change: Callable[[list[list[str]]], list[list[str]]]) -> Callable[[Path], object]:
    def spoil(folder: Path) -> None:
        table = loggers.read_csv(folder / "forearm.csv")
        loggers.write_csv(folder / "belt.csv", change(table[1:]))
        loggers.change_meta(folder / "meta.json", lambda d: d.update(belt_sensor={"rate_hz": 200}))

    return spoil


def later(seconds: str) -> str:
    return f"{float(seconds) + 1.7e9:.3f}"


ACC, GYR = "ax ay az", "gx gy gz"
PACKED = ("--forearm", "forearm.csv.gz")
MAP = ("--map", "map.json")
BELT = ("--sensor", "belt=belt.csv")

CASES: dict[str, Case] = {
    # the file as a whole
    "missing file": Case(
        lambda f: (f / "forearm.csv").unlink(), "no such file; check the path", ("forearm.csv",)
    ),
    "a folder": Case(
        folder_in_place_of_the_file,
        "a folder; give the CSV file in it",
        ("forearm.csv",),
    ),
    "empty file": Case(content(lambda b: b""), "is empty (0 bytes)", ("forearm.csv", "export")),
    "header only": Case(lines(lambda x: x[:1]), "only a header", ("forearm.csv", "export")),
    "blank lines only": Case(content(lambda b: b"\n \n\n"), "only blank lines", ("forearm.csv",)),
    "no header": Case(lines(lambda x: x[1:]), "first line holds numbers", ("forearm.csv", "add a")),
    "endless header": Case(
        content(lambda b: b"x" * 300_000),
        "line 1 cannot be read as a header",
        ("forearm.csv", "export it again"),
    ),
    "binary garbage": Case(
        content(lambda b: bytes(range(256)) * 40), "binary data", ("forearm.csv",)
    ),
    "a spreadsheet": Case(
        content(lambda b: b"PK\x03\x04" + b), "a spreadsheet or zip", ("forearm.csv", "export it")
    ),
    "UTF-16": Case(
        content(lambda b: b.decode().encode("utf-16")), "saved as UTF-16", ("forearm.csv", "UTF-8")
    ),
    "not gzip": Case(
        content(lambda b: b, name="forearm.csv.gz"),
        "not gzip-compressed",
        ("forearm.csv.gz", "take .gz off"),
        PACKED,
    ),
    "truncated gzip": Case(
        content(lambda b: gzip.compress(b)[:-9000], name="forearm.csv.gz"),
        "ends too early",
        ("forearm.csv.gz", "copy it again"),
        PACKED,
    ),
    "damaged gzip": Case(
        content(damaged_gzip, name="forearm.csv.gz"),
        "compressed file is damaged",
        ("forearm.csv.gz",),
        PACKED,
    ),
    "same file twice": Case(
        nothing, "given for forearm and for club", ("club.csv",), ("--forearm", "club.csv")
    ),
    "copy of the same file": Case(
        copy_club_to_forearm,
        "the files for forearm and club hold the very same samples",
        ("its own file",),
    ),
    # rows and columns
    "semicolons": Case(
        content(lambda b: b.replace(b",", b";")),
        "separated by semicolons",
        ("forearm.csv", '"delimiter": ";"'),
    ),
    "tabs": Case(
        content(lambda b: b.replace(b",", b"\t")), "separated by tabs", ("forearm.csv", "\\t")
    ),
    "missing column": Case(
        lines(lambda x: [",".join(line.split(",")[:-1]) for line in x]),
        "column 'gz' is missing",
        ("forearm.csv", "line 1", "column map"),
    ),
    "misspelt column": Case(
        lines(lambda x: [x[0].replace("t_sensor_us", "tsensor_us"), *x[1:]]),
        "did you mean 'tsensor_us'",
        ("forearm.csv", "t_sensor_us"),
    ),
    "a header that would clear the screen": Case(
        lines(lambda x: [x[0].replace("t_host_s", "\x1b[2Jhost"), *x[1:]]),
        "column 't_host_s' is missing",
        ("forearm.csv", " [2Jhost"),
    ),
    "column there twice": Case(
        lines(lambda x: [x[0].replace("gy", "gx"), *x[1:]]),
        "'gx' is there 2 times",
        ("forearm.csv", "keep one"),
    ),
    "text": Case(
        cell("ay", "fast"), "'fast' is no number", ("forearm.csv", "line 57", "row 56", "ay")
    ),
    "decimal comma in a cell": Case(
        cell("ay", "9,81"), "has a decimal comma", ("forearm.csv", "line 57", "ay", "decimal_mark")
    ),
    "blank cell": Case(
        cell("gz", ""), "column gz: blank or not a number", ("forearm.csv", "line 57", "take out")
    ),
    "NaN": Case(
        cell("ax", "NaN", line=90),
        "column ax: blank or not a number",
        ("forearm.csv", "line 90", "row 89"),
    ),
    "infinity": Case(cell("gx", "-inf"), "infinite", ("forearm.csv", "line 57", "gx", "take out")),
    "row too short": Case(
        lines(lambda x: [*x[:56], "1,2,3", *x[57:]]),
        "3 values where the header has 9",
        ("forearm.csv", "line 57", "complete the row"),
    ),
    "row too long": Case(
        lines(lambda x: [*x[:56], x[56] + ",5", *x[57:]]),
        "10 values where the header has 9",
        ("forearm.csv", "line 57", "decimal points"),
    ),
    "cut-off last row": Case(
        content(lambda b: b[:-40]), "last row is cut off", ("forearm.csv", "line 1201", "delete")
    ),
    "endless quote": Case(
        lines(lambda x: [*x[:56], '"' + x[56], *x[57:], *x[1:] * 4]),
        "not a sound CSV file",
        ("forearm.csv", "export it again"),
    ),
    # clocks and counters
    "time standing still": Case(
        cell("t_sensor_us", str(5_000_000 + 54 * 5000)),
        "time stands still",
        ("forearm.csv", "line 57", "t_sensor_us", "doubled rows"),
    ),
    "time going back": Case(
        cell("t_sensor_us", "5100000"),
        "time goes back from 5270000 to 5100000",
        ("forearm.csv", "line 57", "t_sensor_us", "sort the rows"),
    ),
    "sensor restarted": Case(
        lines(lambda x: [*x, *(re.sub(r",\d{7,8},", ",123,", line) for line in x[1:2])]),
        "the sensor seems to have restarted",
        ("forearm.csv", "line 1202", "cut the file here"),
    ),
    "rows in reverse": Case(
        lines(lambda x: [x[0], *x[:0:-1]]),
        "and at 1198 other rows time does not go on",
        ("forearm.csv", "line 3", "sort the rows by time"),
    ),
    "sample number twice": Case(
        cell("seq", "54"),
        "sample number 54 is there twice",
        ("forearm.csv", "line 57", "seq", "take out the doubled row"),
    ),
    "sample number falls": Case(
        cell("seq", "12"),
        "sample number falls from 54 to 12",
        ("forearm.csv", "line 57", "seq", "sort the rows"),
    ),
    "sample number not whole": Case(
        cell("seq", "55.5"), "55.5 is not whole", ("forearm.csv", "line 57", "seq")
    ),
    "sample number beyond counting": Case(
        cell("seq", "1" + "0" * 25, line=1201),
        "1e+25 is not whole, or far too large",
        ("line 1201",),
    ),
    "sample number leaping": Case(
        lines(lambda x: [*x[:700], *(line.replace(",", ",9", 1) for line in x[700:])]),
        "sample number leaps by 9001 while the clock goes on by 5 ms",
        ("forearm.csv", "line 701", "seq", "mend the number"),
    ),
    "clock leaping": Case(
        column("t_sensor_us", lambda v: f"{v + 9e8 * (v >= 8_500_000):.0f}"),
        "time jumps on by 900.005 s",
        ("forearm.csv", "line 702", "t_sensor_us", "cut the file here"),
    ),
    "clock in us, declared in s": Case(
        meta(lambda d: d["units"].update(t_sensor="s")),
        "the clock seems to be in us, not s",
        ("forearm.csv", '"t_sensor": "us"'),
    ),
    "arrival going back": Case(
        cell("t_host_s", "0.1"),
        "arrival time goes back",
        ("forearm.csv", "line 57", "t_host_s", "sort the rows by seq"),
    ),
    "clock in ms": Case(
        column("t_sensor_us", lambda v: f"{v / 1000:.3f}"),
        "the clock seems to be in ms, not us",
        ("forearm.csv", "t_sensor_us", '"t_sensor": "ms"'),
    ),
    "clock in s": Case(
        column("t_sensor_us", lambda v: f"{v / 1e6:.6f}"),
        "the clock seems to be in s, not us",
        ("forearm.csv", "t_sensor_us", '"t_sensor": "s"'),
    ),
    "arrival in ms": Case(
        column("t_host_s", lambda v: f"{v * 1000:.3f}"),
        "arrival times seem to be in ms, not s",
        ("forearm.csv", "t_host_s", '"t_host": "ms"'),
    ),
    "arrival of another session": Case(
        column("t_host_s", lambda v: f"{v * 40:.3f}"),
        "arrival times are not to be trusted",
        ("forearm.csv", "t_host_s", '"t_host": null'),
    ),
    "no overlap": Case(
        column("t_host_s", lambda v: f"{v + 500:.3f}"),
        "forearm and club do not overlap",
        ("forearm", "club", "same recording"),
    ),
    "too few rows": Case(
        lines(lambda x: x[:6]), "only 5 rows of samples", ("forearm.csv", "whole recording")
    ),
    "too short": Case(
        lines(lambda x: x[:240]), "too short, 239 samples over 1.19 s", ("forearm.csv", "2 s")
    ),
    "rate contradicts the clock": Case(
        meta(lambda d: d["forearm_sensor"].update(rate_hz=130)),
        "samples come at 200 Hz, but 130 Hz is declared; correct",
        ("forearm.csv", "rate_hz in the meta file"),
    ),
    # physics
    "acceleration in g": Case(
        column(ACC, lambda v: f"{v / G:.6f}"),
        "seem to be in g, not m/s^2",
        ("forearm.csv", '"acc": "g"'),
    ),
    "acceleration in mg": Case(
        column(ACC, lambda v: f"{v / G * 1000:.3f}"),
        "seem to be in mg, not m/s^2",
        ("forearm.csv", '"acc": "mg"'),
    ),
    "acceleration declared in g": Case(
        meta(lambda d: d["units"].update(acc="g")),
        "seem to be in m/s^2, not g",
        ("forearm.csv", '"acc": "m/s^2"'),
    ),
    "turning rate in deg/s": Case(
        column(GYR, lambda v: f"{v * DEGREES:.6f}"),
        "seem to be in deg/s, not rad/s",
        ("forearm.csv", '"gyr": "deg/s"'),
    ),
    "turning rate declared in deg/s": Case(
        meta(lambda d: d["units"].update(gyr="dps")),
        "seem to be in rad/s, not deg/s",
        ("forearm.csv", '"gyr": "rad/s"'),
    ),
    "no unit of turning rate fits": Case(
        column(GYR, lambda v: f"{v * 1e9:.6f}"), "fits no unit (rad/s", ("forearm.csv", "scale")
    ),
    "no unit of acceleration fits": Case(
        column(ACC, lambda v: f"{v * 3:.6f}"), "fits no unit (m/s^2", ("forearm.csv", "scale")
    ),
    "gravity taken out": Case(
        take_gravity_out,
        "gravity seems to have been taken out",
        ("forearm.csv", "raw acceleration"),
    ),
    "acceleration and turning rate exchanged": Case(
        lines(lambda x: ["t_host_s,seq,t_sensor_us,gx,gy,gz,ax,ay,az", *x[1:]]),
        "acceleration and turning rate seem exchanged",
        ("forearm.csv", "column names"),
    ),
    "a damaged number": Case(
        cell("gy", "-1e99"),
        "-1e+99 is more than 1000 times all other values",
        ("forearm.csv", "line 57", "gy", "mend it"),
    ),
    "sensor off": Case(
        column(GYR, lambda v: "0.5"), "the same number in every row", ("forearm.csv", "gx, gy, gz")
    ),
    "files swapped, by rate": Case(
        exchange,
        "and 400 Hz for the club sensor; the files seem swapped",
        ("forearm.csv", "--swap"),
    ),
    "sensors swapped, by motion": Case(
        exchange_with_rates,
        "forearm.csv (forearm) and club.csv (club) seem swapped",
        ("--swap", "--keep-order"),
    ),
    # the meta file
    "no meta file": Case(
        lambda f: (f / "meta.json").unlink(),
        "meta.json: no such JSON file",
        ("meta.json", "check the path"),
    ),
    "meta malformed": Case(
        content(lambda b: b.replace(b":", b"", 3), file="meta.json"),
        "line 2, column 11: not valid JSON",
        ("meta.json", "mend it there"),
    ),
    "meta a list": Case(content(lambda b: b"[1]", file="meta.json"), "one JSON object"),
    "meta binary": Case(
        content(lambda b: b"\xff\xfe\x00", file="meta.json"), "JSON text in UTF-8", ("meta.json",)
    ),
    "no handedness": Case(
        meta(lambda d: d.pop("handedness")), "handedness is missing", ("meta.json", "right")
    ),
    "unknown handedness": Case(
        meta(lambda d: d.update(handedness="both")), "should be right or left, is 'both'"
    ),
    "no format": Case(meta(lambda d: d.pop("format")), "format is missing", ("meta.json",)),
    "later format": Case(
        meta(lambda d: d.update(format=2)), "later than this program reads", ("update swingspread",)
    ),
    "senseless format": Case(
        meta(lambda d: d.update(format="one")), "should be the number 1, is 'one'", ("meta.json",)
    ),
    "no club length": Case(
        meta(lambda d: d["club"].pop("length_m")), "club.length_m is missing", ("0.94",)
    ),
    "club length as text": Case(
        meta(lambda d: d["club"].update(length_m="long")), "club.length_m should be a number"
    ),
    "club length in cm": Case(
        meta(lambda d: d["club"].update(length_m=94)),
        "club.length_m is 94 m; give metres: 0.94 if that is in cm",
        ("meta.json",),
    ),
    "club length in inches": Case(
        meta(lambda d: d["club"].update(length_m=37)),
        "club.length_m is 37 m; give metres: 0.94 if that is in inches",
        ("meta.json",),
    ),
    "distance that may be in several units": Case(
        meta(lambda d: d["forearm_sensor"].update(distance_to_wrist_m=6)),
        "is 6 m; give metres: 0.06 if that is in cm, 0.006 if that is in mm, 0.152",
        ("meta.json: forearm_sensor.distance_to_wrist_m",),
    ),
    "impossible club length": Case(
        meta(lambda d: d["club"].update(length_m=0.02)), "club.length_m is 0.02 m; expected 0.4"
    ),
    "club length not a number": Case(
        meta(lambda d: d["club"].update(length_m=float("nan"))),
        "club.length_m should be a finite number, is nan",
    ),
    "club length beyond all numbers": Case(
        meta(lambda d: d["club"].update(length_m=10**400)),
        "club.length_m should be a finite number, is 1000",
        ("meta.json",),
    ),
    "club as text": Case(
        meta(lambda d: d.update(club="iron7")), "club should be an object", ("meta.json",)
    ),
    "sensor beyond the club": Case(
        meta(lambda d: d["club_sensor"].update(distance_from_butt_m=1.1)),
        "beyond the end of the club",
    ),
    "no sensor facts": Case(
        meta(lambda d: d.pop("club_sensor")), "club_sensor.rate_hz is missing", ("meta.json",)
    ),
    "impossible rate": Case(
        meta(lambda d: d["club_sensor"].update(rate_hz=0)), "club_sensor.rate_hz is 0 Hz; expected"
    ),
    "impossible range": Case(
        meta(lambda d: d["club_sensor"].update(acc_range_g=-4)), "club_sensor.acc_range_g is -4"
    ),
    "distance of the other sensor": Case(
        meta(lambda d: d["forearm_sensor"].update(distance_from_butt_m=0.3)),
        "forearm_sensor.distance_from_butt_m is a fact of the club sensor",
        ("meta.json", "move it to club_sensor"),
    ),
    "filter delay as text": Case(
        meta(lambda d: d["club_sensor"].update(filter_delay_s="2 ms")),
        "club_sensor.filter_delay_s should be a number, is '2 ms'",
        ("meta.json",),
    ),
    "filter delay in ms": Case(
        meta(lambda d: d["club_sensor"].update(filter_delay_s=2)),
        "club_sensor.filter_delay_s is 2 s; expected 0 to 0.1 s",
        ("meta.json",),
    ),
    "sensor fact not finite": Case(
        meta(lambda d: d["club_sensor"].update(offsets=[0.1, float("inf")])),
        "club_sensor holds a number that is not finite",
        ("meta.json",),
    ),
    "no units": Case(
        meta(lambda d: d.pop("units")), "units.acc is missing", ("meta.json", "m/s^2, g, mg")
    ),
    "unknown unit": Case(
        meta(lambda d: d["units"].update(acc="furlong")),
        "should be m/s^2 or g or mg, is 'furlong'",
        ("meta.json", "units.acc"),
    ),
    "misspelt unit key": Case(
        meta(lambda d: d["units"].update(gyro="rad/s")), "did you mean 'gyr'", ("units.gyro",)
    ),
    "date not a date": Case(
        meta(lambda d: d.update(recorded_at="yesterday")), "should be a date", ("'yesterday'",)
    ),
    "remarks too long to keep": Case(
        meta(lambda d: d.update(notes="x" * 100_001)),
        "notes has 100,001 characters; keep 100,000",
        ("meta.json",),
    ),
    "line break in a name": Case(
        meta(lambda d: d["player"].update(name="Ada\nBrook")),
        "control characters",
        ("player.name",),
    ),
    # the column map
    "no map file": Case(nothing, "map.json: no such JSON", ("check the path",), MAP),
    "misspelt map key": Case(
        column_map(colums={}),
        "colums is not a known key; did you mean 'columns'? Keys known here: ",
        ("map.json", "colums"),
        MAP,
    ),
    "map key like no other": Case(
        column_map(zebra=1), "zebra is not a known key. Keys known here: ", ("map.json",), MAP
    ),
    "map to a missing column": Case(
        column_map(columns={"ax": "AccX"}), "column 'AccX' is missing", ("forearm.csv", "AccX"), MAP
    ),
    "one column mapped twice": Case(
        column_map(columns={"ax": "ay", "ay": "ay"}),
        "column 'ay' is named for ax and for ay",
        ("map.json",),
        MAP,
    ),
    "one column mapped twice, once reversed": Case(
        column_map(columns={"gx": "gx", "gy": "-gx"}),
        "column 'gx' is named for gx and for gy",
        ("map.json",),
        MAP,
    ),
    "a plain name that stays mapped taken for another": Case(
        column_map(columns={"gz": "gy"}),
        "column 'gy' is named for gy and for gz",
        ("map.json",),
        MAP,
    ),
    "acceleration mapped to nothing": Case(
        column_map(columns={"ax": None}), "only seq and t_host may be missing", ("map.json",), MAP
    ),
    "more lines to skip than there are": Case(
        lambda f: (
            loggers.change_lines(f / "forearm.csv", lambda x: x[:300]),
            column_map(sensors={"forearm": {"skip_lines": 400}})(f),
        ),
        "no header after the 400 lines to skip",
        ("forearm.csv", "correct skip_lines"),
        MAP,
    ),
    "odd delimiter": Case(
        column_map(delimiter="::"), "should be one of , ;", ("map.json", "delimiter"), MAP
    ),
    "comma twice": Case(
        column_map(decimal_mark=","), "cannot both be a comma", ("map.json", "decimal_mark"), MAP
    ),
    # the command line
    "no sensor file": Case(nothing, "no sensor file given", ("--forearm",), ("none",)),
    "swap of one file": Case(
        nothing, "--swap exchanges the forearm and the club file", ("give both",), ("alone",)
    ),
    "third sensor of another time": Case(
        belt(lambda table: [[later(row[0]), *row[1:3], row[4], row[3], *row[5:]] for row in table]),
        "forearm and belt do not overlap",
        ("from 0.3 to 6.2 s", "from 1700000000.3 to 1700000006.2 s"),
        BELT,
    ),
    "third sensor a copy of another": Case(
        belt(lambda table: table), "the files for forearm and belt hold the very same", (), BELT
    ),
    "role not a name": Case(
        nothing, "role '../belt' cannot be a file name", (), ("--sensor", "../belt=club.csv")
    ),
    "sensor without a file": Case(
        nothing, "give a role and a file", ("belt=b.csv",), ("--sensor", "belt")
    ),
    "name too long": Case(nothing, "shorten it to 120", ("name",), ("--name", "x" * 500)),
}


def tree(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with its content, hidden ones included."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def export(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("export")
    loggers.write_export(folder)
    return folder


def command(folder: Path, library: Path, extra: tuple[str, ...] = ()) -> list[str]:
    files = {"--forearm": "forearm.csv", "--club": "club.csv", "--meta": "meta.json"}
    others: list[str] = []
    if extra == ("none",):
        del files["--forearm"], files["--club"]
        extra = ()
    if extra == ("alone",):
        del files["--club"]
        others, extra = ["--swap"], ()
    for key, value in zip(extra[::2], extra[1::2], strict=True):
        if key in ("--sensor", "--name"):
            role, mark, file = value.partition("=")
            others += [key, f"{role}={folder / file}" if mark else value]
        else:
            files[key] = value
    words = [word for key, value in files.items() for word in (key, str(folder / value))]
    return ["import", *words, *others, "--library", str(library)]


@pytest.fixture(scope="module")
def messages(
    export: Path, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, tuple[int, str, str]]:
    """Each case's exit code, standard output and standard error; the library is watched."""
    import contextlib
    import io

    place = tmp_path_factory.mktemp("bad")
    library = place / "library"
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(command(export, library)) == 0
    before = tree(library)
    assert before
    found = {}
    for name, case in CASES.items():
        folder = place / "files"
        shutil.copytree(export, folder)
        case.spoil(folder)
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(command(folder, library, case.arguments))
        found[name] = (code, out.getvalue(), err.getvalue())
        assert tree(library) == before, f"{name}: the library was touched"
        shutil.rmtree(folder)
    return found


@pytest.mark.parametrize("name", CASES)
def test_a_bad_file_is_refused_with_place_and_mend(
    messages: dict[str, tuple[int, str, str]], name: str
) -> None:
    code, out, err = messages[name]
    assert code == 1, f"accepted: {out}"
    assert out == ""
    assert err.startswith("swingspread: ")
    assert "Traceback" not in err
    assert "\x1b" not in err
    for words in (CASES[name].own, *CASES[name].says):
        assert words in err


def test_every_kind_of_bad_file_has_a_message_of_its_own(
    messages: dict[str, tuple[int, str, str]],
) -> None:
    assert len(CASES) >= 40
    for name, case in CASES.items():
        bearing = [other for other, (_, _, err) in messages.items() if case.own in err]
        assert bearing == [name]


def test_the_sound_files_that_the_cases_start_from_are_accepted(
    export: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(command(export, tmp_path / "library")) == 0
    assert len(capsys.readouterr().out.split()[-1]) == 16
