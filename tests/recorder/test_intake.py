"""The books of one sensor: what to ask for, and when a sample is gone for good."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from imu.recorder.intake import GIVE_UP_AFTER, Intake
from imu.recorder.packet import BackfillEnd, Flag, Packet
from imu.recorder.profile import SensorInfo, State

INFO = SensorInfo("club", 0x45, State.SAMPLING, 1000, 7, 30_000, 0, 0, 0, 0.01, 0.002)


def packet(seq: int, count: int = 19, boot_id: int = 7) -> Packet:
    return Packet(boot_id, seq, seq * 1000, Flag(0), 0x45, np.zeros((count, 6), np.int16))


def test_a_hole_is_asked_for_and_filled() -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    for seq in (0, 19, 57):
        intake.packet(packet(seq), live=True)
    assert intake.next_requests() == [(7, 38, 19)] and intake.waiting
    intake.packet(packet(38), live=False)
    assert not intake.waiting
    intake.answered(BackfillEnd(7, 38, 0, 76))
    assert intake.next_requests() == [] and intake.missing == 0
    assert (intake.received, intake.backfilled, intake.lost) == (76, 19, 0)


def test_repeats_change_nothing() -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    assert intake.packet(packet(0), live=True)
    assert not intake.packet(packet(0), live=False)
    assert intake.packet(packet(10), live=False)
    assert (intake.received, intake.backfilled) == (29, 10)


def test_what_was_sampled_while_the_link_was_down_is_wanted() -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    intake.packet(packet(0), live=True)
    later = replace(INFO, next_seq=5000)
    intake.begin(later, later)
    assert intake.restarts == 0
    assert intake.next_requests() == [(7, 19, 2000), (7, 2019, 2000), (7, 4019, 981)]
    assert intake.missing == 4981


def test_samples_the_ring_has_overwritten_are_lost_and_not_asked_for_again() -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    intake.packet(packet(0), live=True)
    later = replace(INFO, oldest_seq=1000, next_seq=5000)
    intake.begin(later, later)
    assert intake.lost == 981
    assert intake.next_requests()[0] == (7, 1000, 2000)


def test_a_restart_is_no_gap_of_the_old_numbering() -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    intake.packet(packet(5000), live=True)
    again = replace(INFO, boot_id=8, next_seq=0)
    intake.begin(again, again)
    assert intake.restarts == 1
    intake.packet(packet(0, boot_id=8), live=True)
    intake.packet(packet(19, boot_id=8), live=True)
    assert intake.next_requests() == []
    assert intake.received == 57 and intake.lost == 5000


def test_a_packet_of_the_new_start_may_come_before_the_sensors_word_of_it() -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    intake.packet(packet(0), live=True)
    intake.packet(packet(19, boot_id=8), live=True)
    again = replace(INFO, boot_id=8, next_seq=38)
    intake.begin(again, replace(again, next_seq=0))
    assert intake.restarts == 1
    assert intake.next_requests() == [(8, 0, 19)]


def test_the_first_packet_lost_is_asked_for_though_the_second_came_before_the_sensors_word() -> (
    None
):
    intake = Intake()
    intake.packet(packet(5019), live=True)
    intake.begin(replace(INFO, next_seq=5040), replace(INFO, next_seq=5000))
    assert intake.next_requests()[0] == (7, 5000, 19)


def test_an_already_running_sensor_is_recorded_from_the_start_asked_for() -> None:
    intake = Intake()
    running = replace(INFO, next_seq=123_456, oldest_seq=93_456)
    intake.begin(replace(running, next_seq=123_460), running)
    intake.packet(packet(123_475), live=True)
    assert intake.next_requests() == [(7, 123_456, 19)]


def test_a_stretch_that_never_comes_is_given_up_in_the_end() -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    intake.packet(packet(0), live=True)
    intake.packet(packet(38), live=True)
    for _ in range(GIVE_UP_AFTER):
        assert intake.next_requests() == [(7, 19, 19)]
        intake.give_up_waiting()
    assert intake.next_requests() == [] and intake.lost == 19


@given(
    st.lists(st.tuples(st.integers(0, 300), st.integers(1, 19), st.booleans()), max_size=60),
    st.integers(0, 200),
)
def test_received_missing_and_lost_always_add_up(
    packets: list[tuple[int, int, bool]], oldest: int
) -> None:
    intake = Intake()
    intake.begin(INFO, INFO)
    for seq, count, live in packets:
        intake.packet(packet(seq, count), live)
    for _, start, _ in intake.next_requests():
        intake.answered(BackfillEnd(7, start, oldest, 400))
    boot = intake.current
    assert boot is not None
    wanted = sum(end - start for start, end in boot.received.missing(0, boot.wanted_to))
    assert intake.missing + intake.lost == wanted
