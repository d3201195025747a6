"""A journal gives back every whole record, whatever happened to the file."""

from __future__ import annotations

import errno
import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imu.recorder import journal as journals
from imu.recorder.journal import FILE_HEAD, JournalWriter, Kind, encode_record, parse_journal

record_lists = st.lists(
    st.tuples(st.sampled_from(Kind), st.integers(0, 2**63), st.binary(max_size=300)), max_size=12
)


@given(record_lists, st.data())
def test_a_cut_at_any_byte_gives_back_every_whole_record(
    records: list[tuple[Kind, int, bytes]], data: st.DataObject
) -> None:
    encoded = [encode_record(*record) for record in records]
    whole = FILE_HEAD + b"".join(encoded)
    cut = data.draw(st.integers(0, len(whole)))
    ends = [len(FILE_HEAD)]
    for piece in encoded:
        ends.append(ends[-1] + len(piece))
    expected = sum(end <= cut for end in ends[1:])
    journal = parse_journal(whole[:cut])
    assert [(r.kind, r.host_ns, r.payload) for r in journal.records] == records[:expected]
    assert journal.damage == ()


@given(record_lists.filter(lambda r: len(r) > 1), st.data())
def test_a_damaged_byte_costs_only_the_record_it_lies_in(
    records: list[tuple[Kind, int, bytes]], data: st.DataObject
) -> None:
    encoded = [encode_record(*record) for record in records]
    which = data.draw(st.integers(0, len(records) - 1))
    at = data.draw(st.integers(0, len(encoded[which]) - 1))
    broken = bytearray(encoded[which])
    broken[at] ^= data.draw(st.integers(1, 255))
    encoded[which] = bytes(broken)
    found = [
        (r.kind, r.host_ns, r.payload) for r in parse_journal(FILE_HEAD + b"".join(encoded)).records
    ]
    assert [r for i, r in enumerate(records) if i != which] == found


@given(st.binary(max_size=400), st.integers(0, 5))
def test_reading_never_raises(data: bytes, offset: int) -> None:
    parse_journal(data, offset)
    parse_journal(FILE_HEAD + data)


def test_a_growing_file_is_read_on_from_where_reading_stopped(tmp_path: Path) -> None:
    path = tmp_path / "club.journal"
    writer = JournalWriter(path)
    seen: list[bytes] = []
    offset = 0
    for i in range(20):
        writer.append(Kind.DATA, i, bytes([i]) * i)
        writer.flush()
        if i % 3 == 0:
            part = journals.read_journal(path, offset)
            seen += [record.payload for record in part.records]
            offset = part.next_offset
    writer.append_json(Kind.END, 99, {})
    writer.close()
    part = journals.read_journal(path, offset)
    seen += [record.payload for record in part.records[:-1]]
    assert seen == [bytes([i]) * i for i in range(20)]
    assert part.closed and part.next_offset == path.stat().st_size


def test_an_existing_file_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "club.journal"
    JournalWriter(path).close()
    with pytest.raises(FileExistsError):
        JournalWriter(path)


def test_a_full_disk_loses_nothing_once_there_is_space_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    space = 100
    real_write = os.write

    def write(file: int, data: bytes) -> int:
        nonlocal space
        if space == 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = real_write(file, bytes(data[:space]))
        space -= taken
        return taken

    monkeypatch.setattr(journals.os, "write", write)
    writer = JournalWriter(tmp_path / "club.journal")
    for i in range(10):
        writer.append(Kind.DATA, i, bytes(50))
        writer.flush()
    assert "full" in writer.refused and writer.pending
    assert len(journals.read_journal(writer.path).records) == 1
    space = 10**6
    writer.append(Kind.DATA, 10, bytes(50))
    assert writer.flush() and not writer.refused
    writer.close()
    journal = journals.read_journal(writer.path)
    assert [record.host_ns for record in journal.records] == list(range(11))
    assert journal.damage == ()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_disk_that_takes_nothing_is_reported_and_not_raised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real_open = os.open
    monkeypatch.setattr(journals.os, "open", lambda *_: real_open("/dev/full", os.O_WRONLY))
    writer = JournalWriter(tmp_path / "club.journal")
    writer.append(Kind.DATA, 1, b"abc")
    assert not writer.flush()
    assert "full" in writer.refused


def test_memory_is_bounded_when_the_disk_stays_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journals, "MAX_PENDING", 1000)
    writer = JournalWriter(tmp_path / "club.journal")
    for i in range(30):
        writer.append(Kind.DATA, i, bytes(80))
    assert writer.pending <= 1000 and writer.dropped == 21
    writer.close()
    assert len(journals.read_journal(writer.path).records) == 9


WRITER = """
import sys
from pathlib import Path
from imu.recorder.journal import JournalWriter, Kind
writer = JournalWriter(Path(sys.argv[1]))
number = 0
while True:
    for _ in range(7):
        writer.append(Kind.DATA, number, number.to_bytes(8, "little") * 30)
        number += 1
    writer.flush()
    print(number, flush=True)
"""


def test_a_killed_writer_loses_nothing_it_had_flushed(tmp_path: Path) -> None:
    if not hasattr(signal, "SIGKILL"):
        pytest.skip("this system has no SIGKILL")
    path = tmp_path / "club.journal"
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    told = [process.stdout.readline() for _ in range(50)]
    process.kill()
    told += process.stdout.read().split("\n")[:-1]
    flushed = [int(line) for line in told]
    process.wait()
    records = journals.read_journal(path).records
    assert len(records) >= flushed[-1] > 0
    assert [r.host_ns for r in records] == list(range(len(records)))


def test_two_hundred_random_cuts_of_one_file_each_give_back_the_whole_prefix() -> None:
    chooser = random.Random(11)
    sizes = [chooser.choice((28, 160, 244)) for _ in range(400)]
    encoded = [
        encode_record(Kind.DATA, i, bytes(chooser.randbytes(s))) for i, s in enumerate(sizes)
    ]
    whole = FILE_HEAD + b"".join(encoded)
    for _ in range(200):
        cut = chooser.randrange(len(whole))
        complete, end = 0, len(FILE_HEAD)
        for piece in encoded:
            end += len(piece)
            if end > cut:
                break
            complete += 1
        journal = parse_journal(whole[:cut])
        assert [r.host_ns for r in journal.records] == list(range(complete))
        assert all(
            encode_record(r.kind, r.host_ns, r.payload) == encoded[r.host_ns]
            for r in journal.records
        )
