"""The bytes of a CSV file: opened, told apart from other kinds, unpacked, counted and limited."""

from __future__ import annotations

import gzip
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

from imu.errors import SwingspreadError

LARGEST_BYTES = 4 << 30
"""Uncompressed bytes a file may hold; a small file that unpacks to more is refused."""

Progress = Callable[[float], None]
"""Called with the part done, 0 to 1."""

_GZIP = b"\x1f\x8b"
_FOREIGN = {
    b"PK\x03\x04": "a spreadsheet or zip archive",
    b"PAR1": "a Parquet file",
    b"\xff\xfe": "saved as UTF-16",
    b"\xfe\xff": "saved as UTF-16",
    b"\x89HDF": "an HDF5 file",
    b"SQLite": "a database",
}


def check_text_file(path: Path) -> bool:
    """True when the file is gzip-compressed, False when it is plain.

    Raises SwingspreadError, naming file and mend, when it is missing, a folder, unreadable,
    empty, or named .gz without being compressed.
    """
    try:
        if path.is_dir():
            raise SwingspreadError(f"{path}: a folder; give the CSV file in it")
        with path.open("rb") as handle:
            start = handle.read(8)
    except FileNotFoundError as problem:
        raise SwingspreadError(f"{path}: no such file; check the path") from problem
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise SwingspreadError(f"{path}: cannot be read ({reason})") from problem
    if not start:
        raise SwingspreadError(
            f"{path.name}: the file is empty (0 bytes); export it again from the logger"
        )
    packed = start.startswith(_GZIP)
    if not packed and path.suffix.lower() == ".gz":
        raise SwingspreadError(
            f"{path.name}: named .gz but not gzip-compressed; take .gz off its name, or compress it"
        )
    return packed


def check_is_text(path: Path, start: bytes) -> None:
    """Raise SwingspreadError when the file's first bytes are of another kind than text."""
    for magic, kind in _FOREIGN.items():
        if start.startswith(magic):
            raise SwingspreadError(f"{path.name}: {kind}, not CSV text; export it as CSV in UTF-8")
    sample = start[:4096]
    strange = sum(byte < 9 or 13 < byte < 32 for byte in sample)
    if b"\x00" in sample or strange > len(sample) // 20:
        raise SwingspreadError(
            f"{path.name}: not text (binary data); give the CSV export of the logger"
        )


class CsvSource(io.RawIOBase):
    """A file's bytes as a stream, unpacked on the way.

    progress : called with the part of the file read so far. Raises SwingspreadError when more
    than ``LARGEST_BYTES`` come out of it.
    """

    def __init__(self, path: Path, packed: bool, progress: Progress | None = None) -> None:
        self._raw: BinaryIO = path.open("rb")
        self._size = max(path.stat().st_size, 1)
        self._stream: Any = gzip.GzipFile(fileobj=self._raw) if packed else self._raw
        self._name, self._progress, self._count = path.name, progress, 0

    def read(self, size: int = -1) -> bytes:
        """Up to ``size`` bytes; empty at the end."""
        block: bytes = self._stream.read(size)
        self._count += len(block)
        if self._count > LARGEST_BYTES:
            raise SwingspreadError(
                f"{self._name}: unpacks to more than {LARGEST_BYTES >> 30} GB; "
                "cut it into shorter recordings"
            )
        if self._progress is not None:
            self._progress(min(self._raw.tell() / self._size, 1.0))
        return block

    def readinto(self, buffer: Any) -> int:
        """Fill ``buffer``; returns the number of bytes, 0 at the end."""
        block = self.read(len(buffer))
        buffer[: len(block)] = block
        return len(block)

    def readable(self) -> bool:
        """Always true."""
        return True

    def close(self) -> None:
        """Close the file underneath as well."""
        if not self.closed:
            self._stream.close()
            self._raw.close()
        super().close()
