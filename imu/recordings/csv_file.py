"""Columns of numbers out of a CSV file, quickly when it is sound and carefully when it is not.

A sound file is parsed in blocks by Arrow, so that memory holds the numbers and not the text. Only
when something is wrong is the file read again, line by line, to name the line, the column and
what would mend it. Plain and gzip-compressed files are told apart by their first bytes.
"""

from __future__ import annotations

import csv
import difflib
import gzip
import io
import math
import re
import zlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, cast

import numpy as np
import pyarrow as pa
import pyarrow.csv

from imu.errors import SwingspreadError
from imu.recordings.csv_source import CsvSource, Progress, check_is_text, check_text_file
from imu.types import FloatArray

LARGEST_ROWS = 20_000_000
"""Rows a file may hold: five and a half hours at 1 kHz, about 1.5 GB in memory."""
_BLOCK = 4 << 20
"""Bytes parsed at once."""
_HEAD = 1 << 20
"""Bytes in which the header must stand."""
_BLANKS = ("", "NaN", "nan", "NAN", "NA", "N/A", "n/a", "null", "NULL", "None")
_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "bars", ",": "commas", " ": "spaces"}
_NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*$")


@dataclass(frozen=True)
class CsvLayout:
    """How a CSV file is written: separator, decimal mark, lines to skip before the header."""

    delimiter: str = ","
    decimal_mark: str = "."
    skip_lines: int = 0


class CsvFile:
    """A CSV file with a header, opened and looked at.

    Raises SwingspreadError, naming the file and the mend, when it is missing, empty, not text,
    cut off, or has no header.
    """

    def __init__(
        self, path: Path | str, layout: CsvLayout | None = None, progress: Progress | None = None
    ) -> None:
        self.path = Path(path)
        self.layout = layout or CsvLayout()
        self._progress = progress
        self.packed = check_text_file(self.path)
        self.header, self._header_lines = self._read_header()

    def _problem(self, text: str) -> SwingspreadError:
        return SwingspreadError(f"{self.path.name}: {text}")

    def _cut_off(self, problem: BaseException) -> SwingspreadError:
        if not self.packed:
            return self._problem(f"cannot be read ({problem})")
        if isinstance(problem, EOFError):
            return self._problem(
                "the compressed file ends too early; it was cut off while copying, copy it again"
            )
        return self._problem(f"the compressed file is damaged ({problem}); copy it again")

    def _read_header(self) -> tuple[tuple[str, ...], int]:
        try:
            with CsvSource(self.path, self.packed) as source:
                start = source.read(_HEAD)
        except (EOFError, OSError, zlib.error) as problem:
            raise self._cut_off(problem) from problem
        check_is_text(self.path, start)
        lines = start.splitlines()
        number = skipped = self.layout.skip_lines
        while number < len(lines) and not lines[number].strip():
            number += 1
        if number >= len(lines) and skipped:
            raise self._problem(
                f"no header after the {skipped} lines to skip; correct skip_lines in the column map"
            )
        if number >= len(lines):
            raise self._problem("holds only blank lines; export it again from the logger")
        line = _decoded(lines[number])
        try:
            fields = next(csv.reader([line], delimiter=self.layout.delimiter), [])
        except csv.Error as problem:
            raise self._problem(
                f"line {number + 1} cannot be read as a header ({problem}); export it again"
            ) from problem
        header = tuple(field.strip() for field in fields)
        self._check_header(header, line)
        return header, number + 1

    def _check_header(self, header: tuple[str, ...], line: str) -> None:
        if len(header) == 1:
            for mark, word in _DELIMITERS.items():
                if mark != self.layout.delimiter and line.count(mark) >= 3:
                    raise self._problem(
                        f"columns are separated by {word}, not "
                        f"{_DELIMITERS.get(self.layout.delimiter, 'the mark given')}; save it with "
                        f'commas and decimal points, or say "delimiter": "{_shown(mark)}" '
                        "in a column map"
                    )
        if all(_NUMBER.match(field) for field in header):
            raise self._problem(
                "the first line holds numbers, not column names; add a header line such as "
                "t_host_s,seq,t_sensor_us,ax,ay,az,gx,gy,gz"
            )

    def where(self, row: int, column: str = "") -> str:
        """Words for a place in the file: its line, counted from 1, and the row of data."""
        line = self._line_of_row(row)
        return f"{self.path.name}, line {line} (row {row + 1})" + (
            f", column {column}" if column else ""
        )

    def _rows(self) -> Iterator[tuple[int, list[str]]]:
        """Line number and fields of every row of data, slowly."""
        with CsvSource(self.path, self.packed) as source:
            text = io.TextIOWrapper(
                io.BufferedReader(source, _BLOCK), "utf-8", errors="replace", newline=""
            )
            for _ in range(self._header_lines):
                text.readline()
            reader = csv.reader(text, delimiter=self.layout.delimiter)
            for fields in reader:
                if fields:
                    yield self._header_lines + reader.line_num, fields

    def _line_of_row(self, row: int) -> int:
        for number, (line, _) in enumerate(self._rows()):
            if number == row:
                return line
        return self._header_lines + row + 1

    def columns(
        self, wanted: Mapping[str, str], may_be_blank: Collection[str] = ()
    ) -> dict[str, FloatArray]:
        """The wanted columns as float64 arrays, by key.

        wanted : key → name in the header. may_be_blank : keys whose blanks become NaN.
        Raises SwingspreadError naming file, line, column and mend for a column that is missing
        or there twice, a row of the wrong length, and anything that is not a finite number.
        """
        for key, name in wanted.items():
            self._check_column(key, name)
        blocks: dict[str, list[FloatArray]] = {key: [] for key in wanted}
        rows = 0
        try:
            with CsvSource(self.path, self.packed, self._progress) as source:
                for batch in self._batches(source, wanted):
                    for key in wanted:
                        name = str(self.header.index(wanted[key]))
                        values = batch.column(name).to_numpy(zero_copy_only=False)
                        odd = np.isinf(values) if key in may_be_blank else ~np.isfinite(values)
                        if odd.any():
                            row = int(np.flatnonzero(odd)[0])
                            raise self._odd_value(rows + row, values[row], wanted[key])
                        blocks[key].append(values)
                    rows += batch.num_rows
                    if rows > LARGEST_ROWS:
                        raise self._problem(
                            f"more than {LARGEST_ROWS:,} rows; cut it into shorter recordings"
                        )
        except (EOFError, zlib.error, gzip.BadGzipFile) as problem:
            raise self._cut_off(problem) from problem
        except pa.ArrowException as problem:
            raise self._diagnose(wanted, may_be_blank, problem) from problem
        except OSError as problem:
            raise self._problem(f"cannot be read ({problem})") from problem
        if rows == 0:
            raise self._no_samples()
        return {key: np.concatenate(parts) for key, parts in blocks.items()}

    def _batches(self, source: CsvSource, wanted: Mapping[str, str]) -> Iterator[pa.RecordBatch]:
        numbered = [str(index) for index in range(len(self.header))]
        used = sorted({str(self.header.index(name)) for name in wanted.values()})
        reader = pyarrow.csv.open_csv(
            cast(IO[Any], source),
            read_options=pyarrow.csv.ReadOptions(
                block_size=_BLOCK,
                skip_rows=self._header_lines,
                column_names=numbered,
            ),
            parse_options=pyarrow.csv.ParseOptions(delimiter=self.layout.delimiter),
            convert_options=pyarrow.csv.ConvertOptions(
                column_types={name: pa.float64() for name in used},
                include_columns=used,
                null_values=list(_BLANKS),
                decimal_point=self.layout.decimal_mark,
            ),
        )
        yield from reader

    def _check_column(self, key: str, name: str) -> None:
        count = self.header.count(name)
        if count > 1:
            raise self._problem(f"column {name!r} is there {count} times; keep one of them")
        if count == 0:
            close = difflib.get_close_matches(name, self.header, n=1, cutoff=0.5)
            meant = f" (did you mean {close[0]!r}?)" if close else ""
            raise self._problem(
                f"column {name!r} is missing{meant}; the header (line {self._header_lines}) has: "
                f"{', '.join(self.header)[:200]}. Rename the column, or give a column map "
                f'with "{key}": its name'
            )

    def _no_samples(self) -> SwingspreadError:
        return self._problem("only a header, no samples; export it again from the logger")

    def _odd_value(self, row: int, value: float, name: str) -> SwingspreadError:
        kind = "infinite" if np.isinf(value) else "blank or not a number"
        return SwingspreadError(
            f"{self.where(row, name)}: {kind}; take out this row, seq marks the loss"
        )

    def _diagnose(
        self, wanted: Mapping[str, str], may_be_blank: Collection[str], problem: Exception
    ) -> SwingspreadError:
        """What is wrong in the first bad row, found by reading line by line."""
        expected = len(self.header)
        indices = {key: self.header.index(name) for key, name in wanted.items()}
        bad: tuple[str, int] | None = None
        number = -1
        try:
            for number, (line, fields) in enumerate(self._rows()):
                place = f"{self.path.name}, line {line} (row {number + 1})"
                if bad is not None:  # a short row with nothing after it is a cut-off file
                    return SwingspreadError(bad[0])
                if len(fields) > expected:
                    return SwingspreadError(
                        f"{place}: {len(fields)} values where the header has {expected} columns; "
                        "are there decimal commas? Save it with decimal points"
                    )
                if len(fields) < expected:
                    text = f"{len(fields)} values where the header has {expected} columns"
                    bad = (f"{place}: {text}; complete the row or take it out", line)
                    continue
                for key, index in indices.items():
                    reason = self._odd_text(fields[index], key in may_be_blank)
                    if reason:
                        return SwingspreadError(f"{place}, column {wanted[key]}: {reason}")
        except csv.Error as trouble:
            return self._problem(f"not a sound CSV file ({trouble}); export it again")
        if number < 0:
            return self._no_samples()
        if bad is not None:
            return SwingspreadError(
                f"{self.path.name}, line {bad[1]}: the last row is cut off; delete that line, "
                "or copy the file again"
            )
        return self._problem(f"cannot be read as CSV ({str(problem).splitlines()[0][:200]})")

    def _odd_text(self, text: str, may_be_blank: bool) -> str:
        stripped = text.strip()
        if stripped in _BLANKS:
            return "" if may_be_blank else "blank; take out this row, seq marks the loss"
        if self.layout.decimal_mark == "." and re.fullmatch(r"[+-]?\d+,\d+", stripped):
            return (
                f"{stripped!r} has a decimal comma; save it with decimal points, or say "
                '"decimal_mark": "," in a column map'
            )
        if self.layout.decimal_mark != ".":
            stripped = stripped.replace(self.layout.decimal_mark, ".")
        if _NUMBER.match(stripped) or stripped.lower().lstrip("+-") in ("inf", "infinity", "nan"):
            return ""
        return f"{text[:40]!r} is no number; mend the value or take out the row"


def _decoded(line: bytes) -> str:
    """A line as text: UTF-8, with or without a mark, else Latin-1."""
    try:
        return line.decode("utf-8-sig")
    except UnicodeDecodeError:
        return line.decode("latin-1")


def _shown(mark: str) -> str:
    return {"\t": "\\t"}.get(mark, mark)


def is_whole(values: FloatArray) -> bool:
    """True when every value (N,) is a whole number that float64 holds exactly."""
    return bool(np.all((values == np.rint(values)) & (np.abs(values) < math.ldexp(1.0, 53))))
