"""A recording on disk: complete or absent, never overwritten, read back to the last bit."""

import dataclasses
import hashlib
import json
import math
import os
import struct

import hypothesis.extra.numpy as hnp
import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imu.errors import SwingspreadError
from imu.recordings.content import content_id, make_recording
from imu.recordings.library import Library
from imu.recordings.store import read_recording, write_recording
from imu.types import Club, Manifest, Player, Recording, Stream


def stream(role="forearm", size=50, seed=1, **changes):
    rng = np.random.default_rng(seed)
    seq = np.arange(size) + np.where(np.arange(size) > 20, 7, 0)
    values = {
        "role": role,
        "time": (1_000_000 + 1000 * seq) / 1e6,
        "acc": np.round(rng.normal(size=(size, 3)), 6),
        "gyr": np.round(rng.normal(size=(size, 3)), 6),
        "seq": seq,
        "host_time": np.where(np.arange(size) < 5, np.nan, seq * 1e-3),
        "rate_hz": 1000.0,
        "acc_range": 320.0,
    }
    return Stream(**(values | changes))


def recording(**changes):
    manifest = Manifest(
        Player("Ada Brook", "left", 0.61),
        Club("iron 7", 0.94, 0.051),
        name="Tuesday",
        session="spring",
        block="practice",
        sensors={
            "forearm": {"rate_hz": 1000, "serial": "F1", "distance_to_wrist": 0.059},
            "club": {"distance_from_butt": 0.33},
        },
    )
    streams = {role: stream(role, seed=seed) for seed, role in enumerate(("forearm", "club"))}
    return make_recording(dataclasses.replace(manifest, **changes), streams, ("7 samples lost",))


def same_stream(one, other):
    arrays = ("time", "acc", "gyr", "seq", "host_time")
    return all(
        getattr(one, name).tobytes() == getattr(other, name).tobytes() for name in arrays
    ) and all(
        getattr(one, name) == getattr(other, name)
        for name in ("role", "rate_hz", "acc_range", "gyr_range")
    )


def test_reads_back_what_was_written(tmp_path):
    original = recording()
    written = write_recording(original, tmp_path / "one")
    back = read_recording(tmp_path / "one", verify=True)
    assert back.id == written.id == original.id
    assert back.manifest == original.manifest
    assert back.faults == original.faults
    assert back.streams.keys() == original.streams.keys()
    assert all(same_stream(back.streams[role], original.streams[role]) for role in back.streams)


def test_any_role_and_a_single_sensor_can_be_stored(tmp_path):
    belt = make_recording(recording().manifest, {"belt": stream("belt")})
    write_recording(belt, tmp_path / "belt")
    assert (tmp_path / "belt" / "belt.parquet").is_file()
    assert list(read_recording(tmp_path / "belt", verify=True).streams) == ["belt"]


def test_the_id_is_worked_out_afresh(tmp_path):
    named = dataclasses.replace(recording(), id="whatever")
    assert write_recording(named, tmp_path / "one").id == recording().id


def test_the_manifest_is_readable_and_names_its_units(tmp_path):
    write_recording(recording(), tmp_path / "one")
    document = json.loads((tmp_path / "one" / "recording.json").read_text())
    assert document["schema_version"] == 1
    assert document["content_sha256"].startswith(document["id"])
    assert document["club"]["length_m"] == 0.94
    assert document["sensors"]["forearm"]["distance_to_wrist_m"] == 0.059
    assert document["streams"]["forearm"]["lost_samples"] == 7
    assert document["streams"]["club"]["gyr_range_rad_s"] is None


def test_whole_microseconds_are_stored_as_integers_and_other_clocks_as_they_are(tmp_path):
    odd = stream(time=np.sort(np.random.default_rng(3).uniform(0, 9, 50)))
    for name, item in (("micro", stream()), ("odd", odd)):
        write_recording(make_recording(recording().manifest, {"forearm": item}), tmp_path / name)
        assert same_stream(read_recording(tmp_path / name).streams["forearm"], item)
    assert "t_sensor_us" in pq.read_schema(tmp_path / "micro" / "forearm.parquet").names
    assert "t_sensor_s" in pq.read_schema(tmp_path / "odd" / "forearm.parquet").names


def test_labels_do_not_change_the_id_but_facts_and_samples_do():
    base = recording()
    relabelled = recording(name="x", session="y", block="z", notes="n", source="s")
    assert relabelled.id == base.id
    assert recording(club=Club("iron 7", 0.95, 0.051)).id != base.id
    assert recording(player=Player("Ada Brook", "right", 0.61)).id != base.id
    assert recording(sensors={}).id != base.id
    streams = dict(base.streams)
    acc = streams["club"].acc.copy()
    acc[-1, -1] = np.nextafter(acc[-1, -1], 9.0)
    streams["club"] = dataclasses.replace(streams["club"], acc=acc)
    assert content_id(base.manifest, streams) != base.id


def test_the_id_does_not_depend_on_the_order_of_roles_or_on_number_types():
    base = recording()
    backwards = dict(reversed(base.streams.items()))
    assert content_id(base.manifest, backwards) == base.id
    whole = {
        role: dataclasses.replace(item, rate_hz=1000, acc_range=320)
        for role, item in base.streams.items()
    }
    assert content_id(base.manifest, whole) == base.id


def test_the_id_of_a_fixed_recording_never_changes():
    """Guards the layout that is hashed: a change here orphans every library."""
    fixed = Stream(
        role="club",
        time=np.array([0.0, 0.001]),
        acc=np.array([[0.0, 0.0, 9.5], [0.25, 0.0, 9.5]]),
        gyr=np.zeros((2, 3)),
        seq=np.array([0, 1]),
        host_time=np.array([np.nan, 0.5]),
        rate_hz=1000.0,
    )
    assert content_id(Manifest(Player(), Club("", 1.0)), {"club": fixed}) == "6705d835700c8594"
    spelt_out = (
        b"swingspread recording 1\n"
        b'{"arm_length_m":0.62,"club_length_m":1.0,"handedness":"right","sensors":{},'
        b'"wrist_from_butt_m":0.05}\nclub\n'
        b'{"acc_range_m_s2":null,"gyr_range_rad_s":null,"rate_hz":1000.0,"role":"club",'
        b'"samples":2}'
        + struct.pack("<2q2d2d6d", 0, 1, 0.0, 0.001, math.nan, 0.5, 0, 0, 9.5, 0.25, 0, 9.5)
        + bytes(48)
    )
    assert hashlib.sha256(spelt_out).hexdigest().startswith("6705d835700c8594")


def test_an_existing_folder_is_never_overwritten(tmp_path):
    write_recording(recording(), tmp_path / "one")
    before = (tmp_path / "one" / "recording.json").read_bytes()
    with pytest.raises(SwingspreadError, match="exists already"):
        write_recording(recording(name="other"), tmp_path / "one")
    assert (tmp_path / "one" / "recording.json").read_bytes() == before
    assert [item.name for item in tmp_path.iterdir()] == ["one"]


class Killed(BaseException):
    """Stands for the process being stopped at this very operation."""


@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), Killed()])
@pytest.mark.parametrize("operation", ["fsync", "rename", "mkdir", "write_table"])
@pytest.mark.parametrize("nth", range(1, 7))
def test_a_failure_at_any_file_operation_leaves_nothing_and_a_kill_nothing_or_all(
    tmp_path, monkeypatch, operation, nth, failure
):
    of_paths = type(tmp_path)
    owner = {"fsync": os, "rename": of_paths, "mkdir": of_paths, "write_table": pq}[operation]
    genuine, calls = getattr(owner, operation), []

    def failing(*arguments, **options):
        calls.append(1)
        if len(calls) == nth:
            raise failure
        return genuine(*arguments, **options)

    library = tmp_path / "library"
    library.mkdir()
    monkeypatch.setattr(owner, operation, failing)
    try:
        write_recording(recording(), library / "one")
    except (SwingspreadError, Killed) as problem:
        assert isinstance(problem, Killed) or "No space left" in str(problem)
        monkeypatch.undo()
        if isinstance(problem, Killed) and (library / "one").exists():
            read_recording(library / "one", verify=True)
            (library / "one").rename(tmp_path / "whole")
        assert list(library.iterdir()) == []
    else:
        monkeypatch.undo()
        assert len(calls) < nth
        read_recording(library / "one", verify=True)


def test_facts_too_long_to_be_read_again_are_refused(tmp_path):
    with pytest.raises(SwingspreadError, match="shorten them"):
        write_recording(recording(notes="x" * 5_000_000), tmp_path / "one")
    assert list(tmp_path.iterdir()) == []


def test_a_role_that_cannot_be_a_file_name_is_refused(tmp_path):
    for role in ("../club", "con", "Club", "", "a" * 40, "club/x", "b\x00"):
        bad = Recording("", recording().manifest, {role: stream(role)})
        with pytest.raises(SwingspreadError, match="file name"):
            write_recording(bad, tmp_path / "one")
    assert list(tmp_path.iterdir()) == []


def edit(folder, change):
    path = folder / "recording.json"
    document = json.loads(path.read_text())
    change(document)
    path.write_text(json.dumps(document))


DAMAGE = {
    "later version": (
        lambda f: edit(f, lambda d: d.update(schema_version=2)),
        "update swingspread",
    ),
    "senseless version": (lambda f: edit(f, lambda d: d.update(schema_version="x")), "no sense"),
    "not ours": (lambda f: edit(f, lambda d: d.pop("schema")), "not a recording"),
    "a list": (lambda f: (f / "recording.json").write_text("[]"), "not a recording"),
    "no manifest": (lambda f: (f / "recording.json").unlink(), "no recording here"),
    "cut manifest": (
        lambda f: (f / "recording.json").write_bytes((f / "recording.json").read_bytes()[:99]),
        "not valid JSON",
    ),
    "no streams": (lambda f: edit(f, lambda d: d.pop("streams")), "damaged"),
    "odd id": (lambda f: edit(f, lambda d: d.update(id="../../x")), "damaged"),
    "odd handedness": (
        lambda f: edit(f, lambda d: d["player"].update(handedness="both")),
        "right or left",
    ),
    "text length": (
        lambda f: edit(f, lambda d: d["club"].update(length_m="long")),
        "should be a number",
    ),
    "endless length": (
        lambda f: edit(f, lambda d: d["club"].update(length_m=10**400)),
        "should be a finite number, is 1000",
    ),
    "text distance": (
        lambda f: edit(f, lambda d: d["sensors"]["club"].update(distance_from_butt_m="far")),
        "sensors.club.distance_from_butt_m should be a number",
    ),
    "text delay": (
        lambda f: edit(f, lambda d: d["sensors"]["club"].update(filter_delay_s="2 ms")),
        "sensors.club.filter_delay_s should be a number",
    ),
    "club as list": (lambda f: edit(f, lambda d: d.update(club=[])), "club should be an object"),
    "odd role": (
        lambda f: edit(f, lambda d: d["streams"].update({"../x": {"samples": 1}})),
        "file name",
    ),
    "no sample count": (
        lambda f: edit(f, lambda d: d["streams"]["club"].pop("samples")),
        "is no number",
    ),
    "missing stream": (lambda f: (f / "club.parquet").unlink(), "missing"),
    "cut stream": (
        lambda f: (f / "club.parquet").write_bytes((f / "club.parquet").read_bytes()[:-30]),
        "damaged",
    ),
    "wrong count": (
        lambda f: edit(f, lambda d: d["streams"]["club"].update(samples=3)),
        "holds 50 samples",
    ),
    "endless rate": (
        lambda f: edit(f, lambda d: d["streams"]["club"].update(rate_hz=10**400)),
        "damaged",
    ),
    "text rate": (
        lambda f: edit(f, lambda d: d["streams"]["club"].update(rate_hz="fast")),
        "damaged",
    ),
    "garbage": (lambda f: (f / "club.parquet").write_bytes(b"\x00" * 500), "damaged"),
}


@pytest.mark.parametrize("kind", DAMAGE)
def test_damage_is_named_with_its_file(tmp_path, kind):
    damage, message = DAMAGE[kind]
    folder = tmp_path / "one"
    write_recording(recording(), folder)
    damage(folder)
    with pytest.raises(SwingspreadError, match=message) as caught:
        read_recording(folder)
    assert str(folder) in str(caught.value) or "role" in str(caught.value)


def test_a_changed_sample_or_fact_is_found_on_verification(tmp_path):
    write_recording(recording(), tmp_path / "one")
    edit(tmp_path / "one", lambda document: document["club"].update(length_m=1.0))
    read_recording(tmp_path / "one")
    with pytest.raises(SwingspreadError, match="no longer matches its hash"):
        read_recording(tmp_path / "one", verify=True)


def test_a_label_that_no_file_can_hold_is_made_one_that_can(tmp_path):
    write_recording(recording(), tmp_path / "one")
    path = tmp_path / "one" / "recording.json"
    path.write_text(path.read_text().replace('"name": "Tuesday"', '"name": "Tues\\ud800day"'))
    assert read_recording(tmp_path / "one", verify=True).manifest.name == "Tues?day"


def test_every_changed_byte_of_the_samples_is_found_on_reading(tmp_path):
    """Pages carry checksums, so damage is found without the hash; never another error."""
    original = recording()
    folder = tmp_path / "one"
    write_recording(original, folder)
    path = folder / "club.parquet"
    sound = path.read_bytes()
    rng = np.random.default_rng(4)
    for place in rng.choice(len(sound), 150, replace=False):
        spoilt = bytearray(sound)
        spoilt[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(bytes(spoilt))
        try:
            back = read_recording(folder)
        except SwingspreadError:
            continue
        assert same_stream(back.streams["club"], original.streams["club"])


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.data())
def test_a_manifest_with_anything_in_it_is_read_or_refused(tmp_path, data):
    folder = tmp_path / "library" / "one"
    if not folder.exists():
        write_recording(recording(), folder)
        (tmp_path / "sound.json").write_bytes((folder / "recording.json").read_bytes())
    document = json.loads((tmp_path / "sound.json").read_text())
    target = document
    while True:
        key = data.draw(st.sampled_from(sorted(target)))
        if isinstance(target[key], dict) and target[key] and data.draw(st.booleans()):
            target = target[key]
            continue
        break
    if data.draw(st.booleans()):
        target[key] = data.draw(json_values)
    else:
        target[data.draw(st.text(max_size=5))] = data.draw(json_values)
    (folder / "recording.json").write_text(json.dumps(document))
    (entry,) = Library(tmp_path / "library").entries()
    assert entry.line()
    try:
        back = read_recording(folder, verify=True)
    except SwingspreadError as problem:
        assert str(problem)
    else:
        assert back.id == recording().id


finite = st.floats(allow_nan=False, allow_infinity=False)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
facts = st.dictionaries(
    st.text("abcdefgh_", min_size=1, max_size=8).filter(lambda key: not key.startswith("dist")),
    st.one_of(finite, st.integers(), words, st.booleans(), st.none(), st.lists(finite, max_size=3)),
    max_size=3,
)
manifests = st.builds(
    Manifest,
    player=st.builds(Player, words, st.sampled_from(["left", "right"]), finite),
    club=st.builds(Club, words, finite, finite),
    name=words,
    session=words,
    block=words,
    recorded_at=words,
    notes=words,
    source=words,
    sensors=st.dictionaries(st.sampled_from(["forearm", "club", "belt"]), facts, max_size=3),
)


@st.composite
def streams_of(draw, role):
    size = draw(st.integers(0, 12))
    number = st.floats(width=draw(st.sampled_from([32, 64])))
    steps = draw(st.lists(st.integers(1, 10**9), min_size=size, max_size=size))
    seq = np.cumsum(np.array(steps, dtype=np.int64)) - draw(st.integers(-(2**40), 2**40))
    ticks = draw(st.sampled_from([1e6, 1e6, 1.0, 3.3]))
    rows = {
        name: draw(hnp.arrays(np.float64, (size, 3), elements=number)) for name in ("acc", "gyr")
    }
    return Stream(
        role=role,
        time=seq / ticks,
        seq=seq,
        host_time=draw(hnp.arrays(np.float64, size, elements=st.floats())),
        rate_hz=draw(st.floats(1, 1e4)),
        acc_range=draw(st.floats(1, allow_nan=False)),
        **rows,
    )


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(manifests, st.sets(st.sampled_from(["forearm", "club", "belt"])), st.data())
def test_every_manifest_and_stream_comes_back(tmp_path, manifest, roles, data):
    original = make_recording(manifest, {role: data.draw(streams_of(role)) for role in roles})
    folder = tmp_path / os.urandom(8).hex()
    write_recording(original, folder)
    back = read_recording(folder, verify=True)
    assert back.id == original.id
    assert back.manifest == original.manifest
    for role in roles:
        one, other = original.streams[role], back.streams[role]
        for name in ("time", "acc", "gyr", "seq", "host_time"):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
        assert math.isclose(one.rate_hz, other.rate_hz)
        assert one.acc_range == other.acc_range
