"""Sound CSV files of many loggers become the same recording, with what was noticed said."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import loggers
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imu.errors import SwingspreadError
from imu.recordings import csv_file, csv_source
from imu.recordings.importer import import_csv
from imu.recordings.sampling import numbers_from_clock, reconcile, unwrap_counter
from imu.recordings.store import read_recording, write_recording

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swings"
G = 9.80665
META = loggers.META


@pytest.fixture
def files(tmp_path):
    return loggers.write_export(tmp_path / "export")


@pytest.fixture
def sound(files):
    return load(files)


def load(files, column_map=None, **options):
    return import_csv(files["forearm"], files["club"], files["meta"], column_map, **options)


def rewrite(path, change):
    path.write_bytes(change(path.read_bytes()))


def test_values_are_taken_over_as_they_stand(files, sound):
    for role in ("forearm", "club"):
        table = pd.read_csv(files[role])
        stream = sound.streams[role]
        np.testing.assert_array_equal(stream.acc, table[["ax", "ay", "az"]])
        np.testing.assert_array_equal(stream.gyr, table[["gx", "gy", "gz"]])
        np.testing.assert_array_equal(stream.seq, table["seq"])
        np.testing.assert_array_equal(stream.host_time, table["t_host_s"])
        np.testing.assert_array_equal(stream.time, table["t_sensor_us"] / 1e6)
    assert sound.streams["club"].rate_hz == 400
    assert sound.streams["club"].acc_range == pytest.approx(200 * G)
    assert sound.streams["club"].gyr_range == pytest.approx(np.radians(4000))
    assert sound.faults == ()


def test_facts_come_from_the_meta_file(sound):
    manifest = sound.manifest
    assert (manifest.player.name, manifest.player.handedness) == ("Ada Brook", "right")
    assert manifest.player.arm_length == 0.62
    assert (manifest.club.name, manifest.club.length) == ("iron7", 0.94)
    assert manifest.sensors["forearm"]["distance_to_wrist"] == 0.06
    assert manifest.sensors["club"]["distance_from_butt"] == 0.33
    assert manifest.sensors["club"]["rate_hz"] == 400
    assert manifest.source == "CSV: forearm.csv, club.csv"


def test_every_fact_of_a_sensor_is_kept_whatever_its_shape(files, tmp_path):
    odd = {"axes": [0.1, -0.2, 0.3], "made": {"by": "hand"}, "filter_delay_s": None, "cells": 2}
    loggers.change_meta(files["meta"], lambda d: d["club_sensor"].update(odd))
    recording = load(files)
    assert recording.manifest.sensors["club"].items() >= odd.items()
    write_recording(recording, tmp_path / "stored")
    assert read_recording(tmp_path / "stored", verify=True).manifest == recording.manifest


def test_labels_given_go_before_those_of_the_meta_file(files, sound):
    named = load(files, name=" Tuesday ", session="spring", block="pressure", player="Cleo Ash")
    labels = named.manifest
    assert (labels.name, labels.session, labels.block) == ("Tuesday", "spring", "pressure")
    assert labels.player.name == "Cleo Ash"
    assert named.id == sound.id


SPELLINGS = {
    "byte order mark and CRLF": lambda b: b"\xef\xbb\xbf" + b.replace(b"\n", b"\r\n"),
    "old line ends": lambda b: b.replace(b"\n", b"\r"),
    "gzip": gzip.compress,
    "gzip in two parts": lambda b: gzip.compress(b[:5000]) + gzip.compress(b[5000:]),
    "quoted header": lambda b: b.replace(b"t_host_s,seq", b'"t_host_s","seq"', 1),
    "spaces": lambda b: b.replace(b",", b" , "),
    "blank lines": lambda b: b"\n\n" + b.replace(b"\n", b"\n\n"),
    "no end of line at the end": lambda b: b.rstrip(b"\n"),
}


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_the_way_a_file_is_written_does_not_matter(files, sound, spelling):
    rewrite(files["club"], SPELLINGS[spelling])
    assert load(files).id == sound.id


def test_further_columns_in_any_order_do_not_matter(files, sound):
    table = pd.read_csv(files["forearm"])
    table.insert(3, "note", 'wörd, "quoted"')
    table["temperature"] = np.nan
    table[table.columns[::-1]].to_csv(files["forearm"], index=False)
    assert load(files).id == sound.id


def foreign(files, role, **changes):
    """Rewrite a file as another logger would: ms, g, °/s, semicolons, decimal commas."""
    table = pd.read_csv(files[role])
    other = pd.DataFrame(
        {
            "Zeit (ms)": table["t_sensor_us"] / 1e3,
            **{f"Acc {a[1]}": table[a] / G for a in ("ax", "ay", "az")},
            **{f"Gyr {a[1]} (°/s)": np.degrees(table[a]) for a in ("gx", "gy", "gz")},
        }
    )
    other.to_csv(files[role], index=False, **changes)


FOREIGN = {
    "columns": {
        "t_sensor": "Zeit (ms)",
        **{a: f"Acc {a[1]}" for a in ("ax", "ay", "az")},
        **{a: f"Gyr {a[1]} (°/s)" for a in ("gx", "gy", "gz")},
    },
    "units": {"t_sensor": "ms", "acc": "g", "gyr": "°/s"},
}


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1"])
def test_another_loggers_columns_and_units_by_a_map(files, sound, tmp_path, encoding):
    for role in ("forearm", "club"):
        foreign(files, role, sep=";", decimal=",", encoding=encoding)
    path = tmp_path / "map.json"
    path.write_text(json.dumps(FOREIGN | {"delimiter": ";", "decimal_mark": ","}), "utf-8")
    mapped = load(files, path)
    for role, stream in mapped.streams.items():
        true = sound.streams[role]
        np.testing.assert_allclose(stream.time, true.time, rtol=0, atol=1e-9)
        np.testing.assert_allclose(stream.acc, true.acc, rtol=1e-12)
        np.testing.assert_allclose(stream.gyr, true.gyr, rtol=1e-12)
        np.testing.assert_array_equal(stream.seq, true.seq)
        assert np.isnan(stream.host_time).all()
        assert f"{role}: no arrival times" in mapped.faults
    assert any("worked out from the sensor's clock" in fault for fault in mapped.faults)
    assert any("aligned from the motion alone" in fault for fault in mapped.faults)


def test_a_map_for_one_sensor_only(files, sound):
    foreign(files, "club")
    mapped = load(files, {"sensors": {"club": FOREIGN}})
    np.testing.assert_allclose(mapped.streams["club"].acc, sound.streams["club"].acc, rtol=1e-12)
    np.testing.assert_array_equal(mapped.streams["forearm"].acc, sound.streams["forearm"].acc)
    assert not np.isnan(mapped.streams["forearm"].host_time).any()


def test_columns_and_units_may_stand_in_the_meta_file(files, sound):
    for role in ("forearm", "club"):
        foreign(files, role)
    files["meta"].write_text(json.dumps(META | FOREIGN))
    mapped = load(files)
    np.testing.assert_allclose(mapped.streams["club"].gyr, sound.streams["club"].gyr, rtol=1e-12)


@pytest.mark.parametrize(
    ("unit", "per_second"), [("s", 1.0), ("ms", 1e3), ("us", 1e6), ("µs", 1e6), ("ns", 1e9)]
)
def test_clock_units(files, sound, unit, per_second):
    loggers.change_column(
        files["club"], "t_sensor_us", lambda v: f"{round(v) * 1000 / (1e9 / per_second):.15g}"
    )
    document = {"sensors": {"club": {"units": {"t_sensor": unit}}}}
    assert np.allclose(
        load(files, document).streams["club"].time, sound.streams["club"].time, rtol=0, atol=1e-9
    )


@pytest.mark.parametrize(
    ("quantity", "unit", "factor"),
    [("acc", "mg", 1000 / G), ("acc", "g", 1 / G), ("gyr", "mdeg/s", 180e3 / np.pi)],
)
def test_measuring_units(files, sound, quantity, unit, factor):
    for axis in "xyz":
        loggers.change_column(files["club"], f"{quantity[0]}{axis}", lambda v: f"{v * factor!r}")
    mapped = load(files, {"sensors": {"club": {"units": {quantity: unit}}}})
    np.testing.assert_allclose(
        getattr(mapped.streams["club"], quantity),
        getattr(sound.streams["club"], quantity),
        rtol=1e-9,
        atol=1e-9,
    )


def test_lines_before_the_header_are_skipped_on_request(files, sound):
    rewrite(files["club"], lambda b: b"logger 7\nserial 12\n" + b)
    assert load(files, {"sensors": {"club": {"skip_lines": 2}}}).id == sound.id


def test_both_sensors_may_stand_in_one_file(files, sound, tmp_path):
    """Each sensor's columns are named in the map; here the forearm's rate is the club's."""
    club = pd.read_csv(files["club"])
    arm = pd.read_csv(files["forearm"]).loc[np.repeat(np.arange(1200), 2)].reset_index(drop=True)
    axes = ["ax", "ay", "az", "gx", "gy", "gz"]
    both = pd.concat([club, arm[axes].add_prefix("arm_")], axis=1)
    path = tmp_path / "both.csv"
    both.to_csv(path, index=False)
    clocks = {"t_sensor": "t_sensor_us", "t_host": "t_host_s", "seq": "seq"}
    columns = clocks | {axis: f"arm_{axis}" for axis in axes}
    loggers.change_meta(files["meta"], lambda d: d["forearm_sensor"].update(rate_hz=400))
    recording = import_csv(
        path, path, files["meta"], {"sensors": {"forearm": {"columns": columns}}}
    )
    np.testing.assert_array_equal(recording.streams["club"].acc, sound.streams["club"].acc)
    np.testing.assert_array_equal(recording.streams["forearm"].acc, arm[["ax", "ay", "az"]])


def test_taps_are_no_sign_of_a_wrong_unit(files):
    """A sensor lying still and tapped hard: great accelerations, hardly any turning."""
    table = loggers.read_csv(files["club"])
    rng = np.random.default_rng(5)
    for number, row in enumerate(table[1:]):
        tap = 300.0 * (number % 240 in (0, 1))
        pull = rng.normal(0, 0.05, 3) + np.array([tap, 0, 9.8])
        values = [*pull, *rng.normal(0, 0.2, 3)]
        row[3:] = [f"{value:.6f}" for value in values]
    loggers.write_csv(files["club"], table[1:])
    loggers.change_meta(files["meta"], lambda d: d["units"].update(gyr="deg/s"))
    tapped = import_csv(None, files["club"], files["meta"])
    assert np.abs(tapped.streams["club"].gyr).max() < 0.1


def drop_rows(path, start, count):
    loggers.change_lines(path, lambda x: [*x[: start + 1], *x[start + 1 + count :]])


def test_lost_samples_are_found_from_sample_numbers_and_said(files):
    drop_rows(files["club"], 100, 7)
    drop_rows(files["club"], 900, 1)
    recording = load(files)
    assert recording.streams["club"].gaps.tolist() == [[99, 7], [899, 1]]
    assert "club: 8 samples lost in 2 gaps (0.33 %), the longest 20 ms" in recording.faults


def test_one_of_a_thing_is_said_as_one(files):
    drop_rows(files["club"], 100, 1)
    loggers.change_cell(files["club"], 9, "t_host_s", "")
    faults = load(files).faults
    assert "club: 1 sample lost in 1 gap (0.042 %), the longest 5 ms" in faults
    assert "club: 1 arrival time is missing" in faults


def test_losses_that_sample_numbers_hide_are_found_from_the_clock(files):
    drop_rows(files["club"], 100, 7)
    table = loggers.read_csv(files["club"])
    for number, row in enumerate(table[1:]):
        row[1] = str(number)
    loggers.write_csv(files["club"], table[1:])
    recording = load(files)
    assert recording.streams["club"].gaps.tolist() == [[99, 7]]
    assert any("7 samples missing by the sensor's clock" in fault for fault in recording.faults)


def test_losses_without_sample_numbers_are_found_from_the_clock(files):
    drop_rows(files["club"], 100, 7)
    document = {"columns": {key: key for key in ("ax", "ay", "az", "gx", "gy", "gz")}}
    document["columns"] |= {"t_sensor": "t_sensor_us", "t_host": "t_host_s", "seq": None}
    recording = load(files, document)
    assert recording.streams["club"].gaps.tolist() == [[99, 7]]
    assert not np.isnan(recording.streams["club"].host_time).any()


@pytest.mark.parametrize(
    ("name", "offset", "bits"),
    [("t_sensor_us", 2**32 - 9_000_000, 32), ("seq", 2**16 - 500, 16), ("seq", 2**32 - 500, 32)],
)
def test_counters_that_run_over_are_continued(files, sound, name, offset, bits):
    loggers.change_column(files["club"], name, lambda v: f"{int(v + offset) % 2**bits}")
    stream = load(files).streams["club"]
    np.testing.assert_allclose(np.diff(stream.time), np.diff(sound.streams["club"].time))
    np.testing.assert_array_equal(np.diff(stream.seq), 1)
    assert any("ran over 1 time and w" in fault for fault in load(files).faults)


def test_missing_arrival_times_are_not_a_number(files):
    loggers.change_cell(files["club"], 2, "t_host_s", "")
    loggers.change_cell(files["club"], 9, "t_host_s", "nan")
    recording = load(files)
    assert np.flatnonzero(np.isnan(recording.streams["club"].host_time)).tolist() == [0, 7]
    assert "club: 2 arrival times are missing" in recording.faults


def test_swapped_files_are_put_right_on_request(files, sound):
    swapped = import_csv(files["club"], files["forearm"], files["meta"], swap=True)
    assert swapped.id == sound.id


def test_sensors_on_the_wrong_places_are_put_right_with_their_own_facts(files, sound):
    """The files fit the declared rates, but each sensor was strapped to the other place."""
    loggers.change_meta(
        files["meta"],
        lambda d: (
            d["forearm_sensor"].update(rate_hz=400, acc_range_g=200, serial="B"),
            d["club_sensor"].update(rate_hz=200, acc_range_g=32, serial="A"),
        ),
    )
    with pytest.raises(SwingspreadError, match="--swap"):
        import_csv(files["club"], files["forearm"], files["meta"])
    mended = import_csv(files["club"], files["forearm"], files["meta"], swap=True)
    assert mended.streams["club"].rate_hz == 400
    assert mended.manifest.sensors["club"]["serial"] == "B"
    assert mended.manifest.sensors["club"]["distance_from_butt"] == 0.33
    assert mended.manifest.sensors["forearm"]["distance_to_wrist"] == 0.06
    np.testing.assert_array_equal(mended.streams["club"].gyr, sound.streams["club"].gyr)


def test_doubt_about_the_order_can_be_overruled(files):
    loggers.change_meta(
        files["meta"],
        lambda d: (d["forearm_sensor"].update(rate_hz=400), d["club_sensor"].update(rate_hz=200)),
    )
    kept = import_csv(files["club"], files["forearm"], files["meta"], keep_order=True)
    assert kept.streams["forearm"].rate_hz == 400


def test_one_sensor_alone_is_imported_and_said(files):
    alone = import_csv(files["forearm"], None, files["meta"])
    assert list(alone.streams) == ["forearm"]
    assert any("no club sensor" in fault for fault in alone.faults)


def test_a_third_sensor_of_any_role(files, sound, tmp_path):
    belt = tmp_path / "belt.csv"
    loggers.write_csv(belt, loggers.rows("forearm"))
    loggers.change_column(belt, "ax", lambda v: f"{v + 0.01:.6f}")
    loggers.change_meta(files["meta"], lambda d: d.update(belt_sensor={"rate_hz": 200}))
    recording = load(files, others={"belt": belt})
    assert list(recording.streams) == ["forearm", "club", "belt"]
    assert recording.manifest.sensors["belt"] == {"rate_hz": 200}
    assert any("belt: gyroscope range not given" in fault for fault in recording.faults)
    write_recording(recording, tmp_path / "stored")
    assert read_recording(tmp_path / "stored", verify=True).id == recording.id


def test_what_is_assumed_is_said(files):
    loggers.change_meta(
        files["meta"], lambda d: (d.pop("arm"), d["club_sensor"].pop("distance_from_butt_m"))
    )
    recording = load(files)
    assert recording.manifest.player.arm_length == 0.62
    assert "distance_from_butt" not in recording.manifest.sensors["club"]
    assert len(recording.faults) == 2
    assert all("not given" in fault for fault in recording.faults)


def test_clipped_samples_and_a_wrong_range_are_said(files):
    loggers.change_column(files["club"], "ax", lambda v: f"{np.clip(v, -16 * G, 16 * G):.6f}")
    loggers.change_meta(
        files["meta"], lambda d: d["club_sensor"].update(acc_range_g=16, gyr_range_dps=500)
    )
    faults = load(files).faults
    assert any("at the end of the accelerometer's range (clipped)" in fault for fault in faults)
    assert any("times its declared range" in fault for fault in faults)


def test_progress_goes_from_nothing_to_all(files):
    seen = []
    load(files, progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_a_file_that_unpacks_to_too_much_is_refused(files, monkeypatch):
    rewrite(files["club"], gzip.compress)
    monkeypatch.setattr(csv_source, "LARGEST_BYTES", 50_000)
    with pytest.raises(SwingspreadError, match="shorter recordings"):
        load(files)


def test_a_file_of_too_many_rows_is_refused(files, monkeypatch):
    monkeypatch.setattr(csv_file, "LARGEST_ROWS", 1500)
    with pytest.raises(SwingspreadError, match="more than 1,500 rows"):
        load(files)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.sampled_from([16, 32]),
    st.lists(st.integers(1, 5000), min_size=2, max_size=60),
    st.integers(0, 2**33),
)
def test_a_counter_that_runs_over_is_continued_exactly(bits, steps, start):
    true = start + np.concatenate([[0], np.cumsum(steps)])
    continued, turns = unwrap_counter((true % 2**bits).astype(float))
    np.testing.assert_array_equal(np.diff(continued), steps)
    assert turns == true[-1] // 2**bits - true[0] // 2**bits


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(0, 0.1), st.sampled_from([0.0, 0.02, 0.1, 0.4]), st.integers(0, 2**31))
def test_losses_come_out_the_same_from_numbers_and_from_a_jittered_clock(jitter, part, seed):
    rng = np.random.default_rng(seed)
    lost = np.where(rng.random(400) < part, rng.choice([1, 2, 7, 40], 400), 0)
    seq = np.concatenate([[0], np.cumsum(lost + 1)])
    time = (seq + rng.uniform(-jitter, jitter, len(seq))) * 0.005
    unchanged, said = reconcile(seq, time)
    np.testing.assert_array_equal(unchanged, seq)
    assert said == ""
    np.testing.assert_array_equal(numbers_from_clock(time), seq)


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_no_spoilt_byte_ever_ends_in_anything_but_a_clear_refusal(tmp_path, data):
    folder = tmp_path / "fuzz"
    if not folder.exists():
        loggers.write_export(folder)
    files = {name: (folder / f"{name}.csv").read_bytes() for name in ("forearm", "club")}
    meta = (folder / "meta.json").read_bytes()
    which = data.draw(st.sampled_from(["forearm", "meta"]))
    original = files["forearm"] if which == "forearm" else meta
    if data.draw(st.booleans()):
        original = gzip.compress(original)
    spoilt = bytearray(original)
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(spoilt) - 1))
        length = data.draw(st.integers(0, 40))
        spoilt[place : place + length] = data.draw(st.binary(max_size=40))
    suffix = ".json" if which == "meta" else ".csv"
    target = tmp_path / f"spoilt{suffix}"
    target.write_bytes(bytes(spoilt))
    try:
        recording = import_csv(
            target if which == "forearm" else folder / "forearm.csv",
            folder / "club.csv",
            target if which == "meta" else folder / "meta.json",
        )
    except SwingspreadError as problem:
        assert str(problem)
    else:
        assert np.isfinite(recording.streams["forearm"].acc).all()


@pytest.mark.parametrize("session", ["clean", "typical", "harsh"])
def test_the_practice_sessions_are_imported_to_the_last_digit(session, tmp_path):
    """Against pandas' reader, with the facts of the sessions' README and meta files."""
    folder = SHARED / session
    if not folder.is_dir():
        pytest.skip("the practice sessions are not beside the repository")
    recording = import_csv(
        folder / "forearm.csv.gz", folder / "club.csv.gz", folder / "meta.json", name=session
    )
    write_recording(recording, tmp_path / session)
    back = read_recording(tmp_path / session, verify=True)
    meta = json.loads((folder / "meta.json").read_text())
    assert back.id == recording.id
    assert back.manifest == recording.manifest
    assert back.manifest.player.handedness == meta["handedness"]
    assert back.manifest.club.length == meta["club"]["length_m"]
    for role in ("forearm", "club"):
        table = pd.read_csv(folder / f"{role}.csv.gz")
        stream = back.streams[role]
        np.testing.assert_array_equal(stream.acc, table[["ax", "ay", "az"]])
        np.testing.assert_array_equal(stream.gyr, table[["gx", "gy", "gz"]])
        np.testing.assert_array_equal(stream.seq, table["seq"])
        np.testing.assert_array_equal(np.rint(stream.time * 1e6), table["t_sensor_us"])
        np.testing.assert_array_equal(stream.host_time, table["t_host_s"])
        lost = int((table["seq"].diff().dropna() - 1).sum())
        assert int(stream.gaps[:, 1].sum()) == lost
        assert lost == 0 or any(f"{role}: {lost} samples lost" in text for text in back.faults)
    with pytest.raises(SwingspreadError, match="swapped"):
        import_csv(folder / "club.csv.gz", folder / "forearm.csv.gz", folder / "meta.json")
