"""Which column of a logger's CSV holds what, and in which units.

The plain layout has the columns ``t_host_s, seq, t_sensor_us, ax, ay, az, gx, gy, gz`` in s, µs,
m/s² and rad/s. Any other layout is described by a JSON map, given with ``--map`` or as the keys
``units`` and ``columns`` of the meta file:

    {
      "columns": {"t_sensor": "Time (ms)", "seq": null, "t_host": null,
                  "ax": "AccX", "ay": "AccY", "az": "AccZ",
                  "gx": "GyrX", "gy": "GyrY", "gz": "GyrZ"},
      "units": {"t_sensor": "ms", "t_host": "s", "acc": "g", "gyr": "deg/s"},
      "delimiter": ";", "decimal_mark": ",", "skip_lines": 0,
      "sensors": {"club": {"units": {"acc": "mg"}}}
    }

Every key may be left out; units have to stand in one of the files. A minus before a column's name
("-GyrX") reverses its sign.
``t_sensor`` is the sensor's own clock. ``null`` says that the logger has no such column: then
``seq`` is worked out from the clock, and arrival times ``t_host`` are unknown. In a map with
``columns``, ``seq`` and ``t_host`` count as null when they are not named.
Units: acc m/s^2, g, mg; gyr rad/s, deg/s, mdeg/s; times s, ms, us, ns. ``sensors`` overrides
anything for one sensor. A value in the map goes before the same value in the meta file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from imu.errors import SwingspreadError
from imu.recordings.csv_file import CsvLayout
from imu.recordings.json_file import JsonObject
from imu.units import ACCELERATION_TO_SI, ANGULAR_RATE_TO_SI, TIME_TO_SI

PLAIN_COLUMNS = {
    "t_host": "t_host_s",
    "seq": "seq",
    "t_sensor": "t_sensor_us",
    **{axis: axis for axis in ("ax", "ay", "az", "gx", "gy", "gz")},
}
AXES = ("ax", "ay", "az", "gx", "gy", "gz")
OPTIONAL = ("t_host", "seq")
QUANTITIES: dict[str, dict[str, float]] = {
    "acc": ACCELERATION_TO_SI,
    "gyr": ANGULAR_RATE_TO_SI,
    "t_host": TIME_TO_SI,
    "t_sensor": TIME_TO_SI,
}
"""What has a unit → unit → factor to SI."""

_SPELLINGS = {
    "m/s²": "m/s^2",
    "m/s2": "m/s^2",
    "m/s/s": "m/s^2",
    "G": "g",
    "°/s": "deg/s",
    "dps": "deg/s",
    "mdps": "mdeg/s",
    "m°/s": "mdeg/s",
    "µs": "us",
    "μs": "us",
}
_MAP_KEYS = ("columns", "units", "delimiter", "decimal_mark", "skip_lines", "sensors")


@dataclass(frozen=True)
class ColumnMap:
    """Columns by what they hold (None: the logger has none), units, and the way it is written.

    reversed_axes : axes whose sign is turned round.
    """

    columns: Mapping[str, str | None] = field(default_factory=lambda: dict(PLAIN_COLUMNS))
    units: Mapping[str, str] = field(default_factory=dict)
    layout: CsvLayout = field(default_factory=CsvLayout)
    reversed_axes: frozenset[str] = frozenset()

    def factor(self, quantity: str) -> float:
        """From the file's unit to SI."""
        return QUANTITIES[quantity][self.units[quantity]]

    @property
    def present(self) -> dict[str, str]:
        """The columns that are there, by what they hold."""
        return {key: name for key, name in self.columns.items() if name is not None}


def _units(source: JsonObject) -> dict[str, str]:
    source.check_keys(tuple(QUANTITIES))
    found = {}
    for quantity, choices in QUANTITIES.items():
        if source.has(quantity):
            given = source.text(quantity)
            found[quantity] = source.choice(quantity, _SPELLINGS.get(given, given), choices)
    return found


def _columns(source: JsonObject) -> dict[str, str | None]:
    alias = {plain: key for key, plain in PLAIN_COLUMNS.items()}
    known = tuple(dict.fromkeys([*PLAIN_COLUMNS, *alias]))
    source.check_keys(known)
    found: dict[str, str | None] = dict.fromkeys(OPTIONAL)
    for key in source.values:
        what = alias.get(key, key)
        name = source.text(key).strip() or None
        if name is None and what not in OPTIONAL:
            raise source.problem(key, "names no column; only seq and t_host may be missing")
        found[what] = name
    return found


def _check_each_named_once(columns: Mapping[str, str | None], where: str) -> None:
    """Refuse one column for two things, most often a slip while copying a line of the map."""
    holders: dict[str, str] = {}
    for what, name in columns.items():
        if name is not None and holders.setdefault(name, what) != what:
            raise SwingspreadError(
                f"{where}: column {name!r} is named for {holders[name]} and for {what}; each has a "
                "column of its own"
            )


def _layout(source: JsonObject, base: CsvLayout) -> CsvLayout:
    delimiter = source.text("delimiter", base.delimiter)
    decimal = source.text("decimal_mark", base.decimal_mark)
    if delimiter == "\\t":
        delimiter = "\t"
    if delimiter not in (",", ";", "\t", "|", " "):
        raise source.problem(
            "delimiter", f"should be one of , ; \\t | or a space, is {delimiter!r}"
        )
    if decimal not in (".", ","):
        raise source.problem("decimal_mark", f"should be . or , and is {decimal!r}")
    if decimal == delimiter:
        raise source.problem("decimal_mark", "and delimiter cannot both be a comma")
    skip = base.skip_lines
    if source.has("skip_lines"):
        skip = int(source.number("skip_lines", 0, 1000, "lines"))
    return CsvLayout(delimiter, decimal, skip)


def column_map_for(role: str, meta: JsonObject, given: JsonObject | None) -> ColumnMap:
    """The map for one sensor: meta file first, then the map file, then its part for this sensor.

    Raises SwingspreadError naming file and key for a value that is wrong, and when a unit is
    stated nowhere: units are never guessed.
    """
    columns: dict[str, str | None] = dict(PLAIN_COLUMNS)
    units: dict[str, str] = {}
    layout = CsvLayout()
    sources = [JsonObject({k: meta.values.get(k) for k in ("columns", "units")}, meta.where)]
    if given is not None:
        given.check_keys(_MAP_KEYS)
        sources += [given, given.inside("sensors").inside(role)]
        sources[-1].check_keys(_MAP_KEYS[:-1])
    for source in sources:
        if source.has("columns"):
            columns |= _columns(source.inside("columns"))
        units |= _units(source.inside("units"))
        layout = _layout(source, layout)
    for quantity, choices in QUANTITIES.items():
        if quantity not in units and columns.get(quantity, "") is not None:
            raise SwingspreadError(
                f"{meta.where}: units.{quantity} is missing; say one of {', '.join(choices)}, "
                "here or in a column map"
            )
    turned = frozenset(
        axis for axis in AXES if (name := columns[axis]) is not None and name.startswith("-")
    )
    columns |= {axis: str(columns[axis]).removeprefix("-").strip() for axis in turned}
    _check_each_named_once(columns, (given or meta).where)
    return ColumnMap(columns, units, layout, turned)


def other_unit(quantity: str, declared: str, fits: Mapping[str, bool]) -> str:
    """The first unit other than the declared one that fits, "" when none does."""
    others = [unit for unit in QUANTITIES[quantity] if unit != declared and fits[unit]]
    return others[0] if others else ""
