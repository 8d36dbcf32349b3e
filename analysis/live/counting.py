"""Soak of one piece in one hold, counted reading by reading. Standard library only."""

from __future__ import annotations


class SoakCount:
    """Time at or above the lower edge; a dip of at most ``dip_s`` pauses it, a longer one starts it again."""

    def __init__(self, lower_c: float, dip_s: float) -> None:
        self.lower_c = lower_c
        self.allowed_dip_s = dip_s
        self.soak_s = 0.0
        self.longest_s = 0.0
        self.unseen_s = 0.0  # of soak_s, what went by without a reading
        self.longest_seen_s = 0.0
        self.above_s = 0.0
        self.dip_s = 0.0
        self.in_band = False
        self._set_aside_s = self._set_aside_unseen_s = 0.0

    def add(
        self, length_s: float, from_c: float, to_c: float, *, set_aside: bool = False, unseen: bool = False
    ) -> None:
        """Count one stretch, a straight line between two readings.

        ``set_aside``: the chamber has left the band, perhaps for good: counts only if it comes back. ``unseen``:
        nothing was read for long: it counts, but nobody can be sure of it.
        """
        self.in_band = to_c >= self.lower_c
        for part_s, above in self._parts(length_s, from_c, to_c):
            if set_aside:
                self._set_aside_s += part_s if above else 0.0
                self._set_aside_unseen_s += part_s if above and unseen else 0.0
            elif above:
                self._count(part_s, part_s if unseen else 0.0)
            else:
                self.dip_s += part_s

    def take_back(self) -> None:
        """The chamber came back into the band: what was set aside counts."""
        self._count(self._set_aside_s, self._set_aside_unseen_s)
        self._set_aside_s = self._set_aside_unseen_s = 0.0

    def _count(self, part_s: float, unseen_s: float) -> None:
        if part_s <= 0.0:
            return
        if self.dip_s > self.allowed_dip_s:
            self.soak_s = self.unseen_s = 0.0
        self.dip_s = 0.0
        self.soak_s += part_s
        self.unseen_s += unseen_s
        self.above_s += part_s
        self.longest_s = max(self.longest_s, self.soak_s)
        self.longest_seen_s = max(self.longest_seen_s, self.soak_s - self.unseen_s)

    def _parts(self, length_s: float, from_c: float, to_c: float) -> tuple[tuple[float, bool], ...]:
        """Parts above and below the edge, in order."""
        starts, ends = from_c >= self.lower_c, to_c >= self.lower_c
        if starts == ends:
            return ((length_s, ends),)
        first_s = length_s * (self.lower_c - from_c) / (to_c - from_c)
        return ((first_s, starts), (length_s - first_s, ends))
