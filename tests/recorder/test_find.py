"""Asking one sensor over a link that fails: how often it is tried, and what is said."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from imu.errors import SwingspreadError
from imu.recorder.find import TRIES, command_sensor, look_at
from imu.recorder.radio import CommandRefusedError, LinkError, Sighting

HEARD = Sighting("address", "one", -60, None)


class FailingRadio:
    """A radio whose first connections fail; each made one does ``act`` when written or read."""

    def __init__(self, failing: int, act: Callable[[], Any]) -> None:
        self.failing, self.act = failing, act
        self.tried = self.open = 0

    async def connect(self, sighting: Sighting) -> Any:
        self.tried += 1
        if self.tried <= self.failing:
            raise LinkError(f"failure {self.tried}")
        self.open += 1
        return SimpleNamespace(write=self.answer, read=self.answer, close=self.close)

    async def answer(self, *_: Any) -> Any:
        return self.act()

    async def close(self) -> None:
        self.open -= 1


def refuse() -> None:
    raise CommandRefusedError(0x80)


def drop() -> None:
    raise LinkError("the link dropped")


def test_a_link_that_fails_is_tried_again_until_it_holds() -> None:
    radio = FailingRadio(TRIES - 1, lambda: None)
    asyncio.run(command_sensor(radio, HEARD, b"\x01"))
    assert (radio.tried, radio.open) == (TRIES, 0)


def test_the_last_failure_is_told_when_no_try_holds() -> None:
    radio = FailingRadio(TRIES, lambda: None)
    with pytest.raises(SwingspreadError, match=f"failure {TRIES}; move nearer"):
        asyncio.run(command_sensor(radio, HEARD, b"\x01"))
    dropping = FailingRadio(0, drop)
    assert asyncio.run(look_at(dropping, HEARD)).problem == "the link dropped"
    assert (dropping.tried, dropping.open) == (TRIES, 0)


def test_a_sensor_that_refuses_is_not_asked_again() -> None:
    radio = FailingRadio(0, refuse)
    with pytest.raises(SwingspreadError, match="sensor address: ") as told:
        asyncio.run(command_sensor(radio, HEARD, b"\x01"))
    assert "move nearer" not in str(told.value)
    assert (radio.tried, radio.open) == (1, 0)
