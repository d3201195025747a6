"""What has arrived of one sensor and what must still be asked for. No radio, file or clock."""

from __future__ import annotations

from dataclasses import dataclass, field

from imu.recorder.coverage import Coverage
from imu.recorder.packet import BackfillEnd, Packet
from imu.recorder.profile import SensorInfo

LONGEST_REQUEST = 2000
"""Samples asked for in one request, so that an answer takes about a second at most."""
MOST_REQUESTS = 12
"""Requests waiting at the sensor at once; its queue holds 16."""
GIVE_UP_AFTER = 40
"""Requests for one stretch that brought nothing new before it counts as lost."""


@dataclass
class BootIntake:
    """Samples of one sensor start. wanted_from, wanted_to : the range this recording wants."""

    boot_id: int
    wanted_from: int
    wanted_to: int
    received: Coverage = field(default_factory=Coverage)
    lost: Coverage = field(default_factory=Coverage)

    def missing(self) -> list[tuple[int, int]]:
        """Wanted ranges neither received nor given up, in order."""
        return [
            piece
            for start, end in self.received.missing(self.wanted_from, self.wanted_to)
            for piece in self.lost.missing(start, end)
        ]


class Intake:
    """Bookkeeping over all starts of one sensor."""

    def __init__(self) -> None:
        self.boots: list[BootIntake] = []
        self.backfilled = 0
        """Samples that came by backfill only."""
        self._fruitless: dict[int, int] = {}
        self._asked: dict[int, int] = {}
        self._begun = False

    @property
    def current(self) -> BootIntake | None:
        """The sensor start now going on."""
        return self.boots[-1] if self.boots else None

    @property
    def restarts(self) -> int:
        """How often the sensor has started anew since the first of them."""
        return max(0, len(self.boots) - 1)

    @property
    def received(self) -> int:
        """Samples received once each, over all starts."""
        return sum(len(boot.received) for boot in self.boots)

    @property
    def lost(self) -> int:
        """Samples known to be gone for good."""
        return sum(len(boot.lost) for boot in self.boots)

    @property
    def missing(self) -> int:
        """Samples not here yet that may still be fetched."""
        boot = self.current
        return sum(end - start for start, end in boot.missing()) if boot else 0

    def begin(self, info: SensorInfo, before: SensorInfo) -> None:
        """Sampling is on (a new connection).

        info, before : INFO after and before the start. On the first call the recording wants
        what is sampled from the start on; after a break in the link all that was sampled in
        between; after a restart all since the restart. Packets may have come before.
        """
        fresh = not self._begun and before.boot_id == info.boot_id
        self._begun = True
        self._open(info.boot_id, before.next_seq if fresh else 0)
        boot = self.boots[-1]
        if fresh:
            boot.wanted_from = min(boot.wanted_from, before.next_seq)
        boot.wanted_to = max(boot.wanted_to, info.next_seq)
        self._give_up_before(boot, info.oldest_seq)

    def _open(self, boot_id: int, wanted_from: int) -> None:
        current = self.current
        if current is not None and current.boot_id == boot_id:
            return
        if current is not None:
            for start, end in current.missing():
                current.lost.add(start, end)
        self.boots.append(BootIntake(boot_id, wanted_from, wanted_from))
        self._fruitless.clear()
        self._asked.clear()

    def packet(self, packet: Packet, live: bool) -> bool:
        """Take in a packet; True when it brought anything new. Any order, any repetition."""
        boot = next((b for b in self.boots if b.boot_id == packet.boot_id), None)
        if boot is None:
            self._open(packet.boot_id, packet.seq if not self.boots else 0)
            boot = self.boots[-1]
        if not boot.received and packet.seq < boot.wanted_from and live:
            boot.wanted_from = packet.seq
        fresh = sum(end - start for start, end in boot.received.add(packet.seq, packet.end_seq))
        if live:
            boot.wanted_to = max(boot.wanted_to, packet.end_seq)
        else:
            self.backfilled += fresh
        return fresh > 0

    def next_requests(self) -> list[tuple[int, int, int]]:
        """Boot id, first number and count of each stretch to ask the sensor for now."""
        boot = self.current
        self._asked.clear()
        if boot is None:
            return []
        for start, end in boot.missing():
            for first in range(start, end, LONGEST_REQUEST):
                if len(self._asked) < MOST_REQUESTS:
                    self._asked[first] = min(end - first, LONGEST_REQUEST)
        return [(boot.boot_id, start, count) for start, count in self._asked.items()]

    @property
    def waiting(self) -> bool:
        """True while something asked for is neither here nor answered."""
        boot = self.current
        if boot is None:
            return False
        return any(boot.received.missing(s, s + count) for s, count in self._asked.items())

    def answered(self, end: BackfillEnd) -> None:
        """The sensor marked the end of an answer."""
        boot = self.current
        if boot is None or end.boot_id != boot.boot_id:
            return
        self._give_up_before(boot, end.oldest_seq)
        if end.request_seq in self._asked:
            self._judge(boot, end.request_seq, self._asked.pop(end.request_seq))

    def give_up_waiting(self) -> None:
        """No answer came in time; the next requests ask again."""
        boot = self.current
        if boot is not None:
            for start, count in self._asked.items():
                self._judge(boot, start, count)
        self._asked.clear()

    def _judge(self, boot: BootIntake, start: int, count: int) -> None:
        still = sum(high - low for low, high in boot.received.missing(start, start + count))
        if still < count:
            self._fruitless.pop(start, None)
            return
        self._fruitless[start] = self._fruitless.get(start, 0) + 1
        if self._fruitless[start] >= GIVE_UP_AFTER:
            boot.lost.add(start, start + count)

    def _give_up_before(self, boot: BootIntake, oldest_seq: int) -> None:
        for start, end in boot.missing():
            if start < oldest_seq:
                boot.lost.add(start, min(end, oldest_seq))

    def finish(self, info: SensorInfo) -> None:
        """Sampling has stopped: want all up to the last sample."""
        boot = self.current
        if boot is not None and boot.boot_id == info.boot_id:
            boot.wanted_to = max(boot.wanted_to, info.next_seq)
            self._give_up_before(boot, info.oldest_seq)
