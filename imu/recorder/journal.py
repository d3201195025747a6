"""The append-only file that holds what a sensor sent, byte for byte, with arrival times.

Each record is: marker A5 5A, kind, zero, payload length (u32), host time in ns (u64), payload,
CRC-32 (u32) of all before it; little-endian. A file cut anywhere gives back every record that
was whole; after a damaged stretch reading goes on at the next record whose CRC fits. Nothing
rewrites a journal; readers open it read-only, also while it grows.
"""

from __future__ import annotations

import enum
import errno
import json
import os
import struct
import threading
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FILE_HEAD = b"swingspread journal 1\n"
MARKER = b"\xa5\x5a"
MAX_PAYLOAD = 1 << 20
MAX_PENDING = 64 << 20

_HEAD = struct.Struct("<2sBBIQ")
_CRC = struct.Struct("<I")


class Kind(enum.IntEnum):
    """What a record holds."""

    ABOUT = 1
    """JSON: who writes, when, for which sensor. The first record of a file."""
    INFO = 2
    """An INFO value of the sensor."""
    DATA = 3
    """A notification of DATA; the host time is its arrival."""
    BACKFILL = 4
    """A notification of BACKFILL; its arrival says nothing about its samples' time."""
    EVENT = 5
    """JSON: something that happened, with a ``text`` for people."""
    END = 6
    """JSON: closed on purpose. The last record of a file."""


@dataclass(frozen=True)
class Record:
    """One record: its kind, host time in ns (the recorder's monotonic clock) and bytes."""

    kind: Kind
    host_ns: int
    payload: bytes

    def json(self) -> dict[str, Any]:
        """The payload of a JSON record; empty when it is not one."""
        try:
            value = json.loads(self.payload)
        except (ValueError, RecursionError):
            return {}
        return value if isinstance(value, dict) else {}


@dataclass(frozen=True)
class Journal:
    """Everything readable in a journal.

    damage : (start, end) byte ranges that held no whole record. next_offset : where a later
    read of the grown file goes on. closed : True when the file was ended on purpose.
    """

    records: tuple[Record, ...]
    damage: tuple[tuple[int, int], ...]
    next_offset: int

    @property
    def closed(self) -> bool:
        """Whether the journal was ended in order."""
        return any(record.kind is Kind.END for record in self.records[-1:])


def encode_record(kind: Kind, host_ns: int, payload: bytes) -> bytes:
    """Bytes of one record."""
    if len(payload) > MAX_PAYLOAD:
        raise ValueError(f"payload of {len(payload)} bytes, at most {MAX_PAYLOAD}")
    body = _HEAD.pack(MARKER, kind, 0, len(payload), host_ns) + payload
    return body + _CRC.pack(zlib.crc32(body))


def _record_at(data: bytes, offset: int) -> tuple[Record | None, int]:
    """The record at ``offset`` and its end; None when it is not whole.

    An end of ``len(data) + 1`` says that more bytes could still complete it.
    """
    if offset + _HEAD.size > len(data):
        return None, len(data) + 1
    marker, kind, zero, length, host_ns = _HEAD.unpack_from(data, offset)
    if marker != MARKER or zero or length > MAX_PAYLOAD or kind not in Kind._value2member_map_:
        return None, offset
    body_end = offset + _HEAD.size + length
    if body_end + _CRC.size > len(data):
        return None, len(data) + 1
    (crc,) = _CRC.unpack_from(data, body_end)
    if crc != zlib.crc32(data[offset:body_end]):
        return None, offset
    payload = data[offset + _HEAD.size : body_end]
    return Record(Kind(kind), host_ns, payload), body_end + _CRC.size


def parse_journal(data: bytes, offset: int = 0) -> Journal:
    """Read all whole records of ``data`` from ``offset`` on. Never raises.

    With ``offset`` 0 the file head is expected first.
    """
    records: list[Record] = []
    damage: list[tuple[int, int]] = []
    if offset == 0:
        head = data[: len(FILE_HEAD)]
        if head == FILE_HEAD:
            offset = len(FILE_HEAD)
        elif FILE_HEAD.startswith(head):
            return Journal((), (), 0)
    while offset < len(data):
        record, end = _record_at(data, offset)
        if record is not None:
            records.append(record)
            offset = end
            continue
        resume = _next_whole_record(data, offset)
        if resume is None:
            if end <= len(data):
                damage.append((offset, len(data)))
            break
        damage.append((offset, resume))
        offset = resume
    return Journal(tuple(records), tuple(damage), offset)


def _next_whole_record(data: bytes, after: int) -> int | None:
    found = data.find(MARKER, after + 1)
    while found >= 0:
        if _record_at(data, found)[0] is not None:
            return found
        found = data.find(MARKER, found + 1)
    return None


def read_journal(path: Path, offset: int = 0) -> Journal:
    """Read a journal file, whole or from ``offset`` (the ``next_offset`` of an earlier read)."""
    with path.open("rb") as file:
        file.seek(offset)
        data = file.read()
    if offset == 0:
        return parse_journal(data)
    journal = parse_journal(b"\0" + data, 1)
    damage = tuple((start + offset - 1, end + offset - 1) for start, end in journal.damage)
    return Journal(journal.records, damage, journal.next_offset + offset - 1)


class JournalWriter:
    """Appends records to a new file. What a full disk refuses is kept and tried again.

    ``flush`` hands the bytes to the operating system, which survives the end of this process;
    ``sync`` also survives a power cut. A slow disk may hold both up for seconds, so they may be
    called from a thread of their own; ``append`` never waits for them. Raises FileExistsError
    when the file is there already.
    """

    def __init__(self, path: Path) -> None:
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
        self.path = path
        self._file = os.open(path, flags, 0o644)
        self._pending = bytearray(FILE_HEAD)
        self._on_the_way = 0
        self._adding, self._writing = threading.Lock(), threading.Lock()
        self.refused = ""
        """Why the disk took nothing at the last try; empty when all is well."""
        self.dropped = 0
        """Records that fitted neither disk nor memory."""

    @property
    def pending(self) -> int:
        """Bytes not yet taken by the disk."""
        return len(self._pending) + self._on_the_way

    def append(self, kind: Kind, host_ns: int, payload: bytes) -> None:
        """Add a record; it reaches the file with the next ``flush``."""
        record = encode_record(kind, host_ns, payload)
        with self._adding:
            if self.pending + len(record) > MAX_PENDING:
                self.dropped += 1
            else:
                self._pending += record

    def append_json(self, kind: Kind, host_ns: int, value: Mapping[str, Any]) -> None:
        """Add a JSON record."""
        self.append(kind, host_ns, json.dumps(dict(value), ensure_ascii=False).encode())

    def flush(self) -> bool:
        """Write what is pending; False (and ``refused`` says why) when the disk takes no more."""
        with self._writing:
            if self._file < 0:
                return not self.pending
            with self._adding:
                chunk, self._pending = self._pending, bytearray()
                self._on_the_way = len(chunk)
            refused = ""
            try:
                while chunk and not refused:
                    try:
                        del chunk[: os.write(self._file, chunk)]
                    except OSError as problem:
                        refused = _disk_problem(problem)
            finally:
                with self._adding:
                    self._pending[:0] = chunk
                    self._on_the_way = 0
            self.refused = refused
            return not refused

    def sync(self) -> None:
        """Make what was flushed survive a power cut."""
        try:
            os.fsync(self._file)
        except OSError as problem:
            if problem.errno != errno.EBADF:
                self.refused = _disk_problem(problem)

    def close(self) -> None:
        """Flush, sync and close; harmless when closed already."""
        self.flush()
        with self._writing:
            if self._file >= 0:
                self.sync()
                os.close(self._file)
                self._file = -1


def _disk_problem(problem: OSError) -> str:
    if problem.errno in (errno.ENOSPC, errno.EDQUOT):
        return "the disk is full; free some space and recording goes on by itself"
    return f"the disk refuses to write ({problem.strerror})"
