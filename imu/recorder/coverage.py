"""Which sample numbers of one sensor start have arrived, and which are missing."""

from __future__ import annotations

from bisect import bisect_left, bisect_right


class Coverage:
    """A set of sample numbers kept as disjoint, sorted ranges [start, end)."""

    def __init__(self) -> None:
        self._starts: list[int] = []
        self._ends: list[int] = []

    def __len__(self) -> int:
        return sum(self._ends) - sum(self._starts)

    def missing(self, start: int, end: int) -> list[tuple[int, int]]:
        """Ranges of [start, end) not present, in order."""
        absent: list[tuple[int, int]] = []
        index = bisect_right(self._ends, start)
        while index < len(self._starts) and self._starts[index] < end:
            if start < self._starts[index]:
                absent.append((start, self._starts[index]))
            start = max(start, self._ends[index])
            index += 1
        if start < end:
            absent.append((start, end))
        return absent

    def add(self, start: int, end: int) -> list[tuple[int, int]]:
        """Add [start, end) and return the parts that are new."""
        fresh = self.missing(start, end)
        if fresh:
            low = bisect_left(self._ends, start)
            high = bisect_right(self._starts, end)
            if low < high:
                start, end = min(start, self._starts[low]), max(end, self._ends[high - 1])
            self._starts[low:high] = [start]
            self._ends[low:high] = [end]
        return fresh
