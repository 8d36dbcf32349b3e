"""How this project writes numbers: temperatures, differences, rates, durations, moments, counts. Rounded here, once.

A sentence that is made where nobody knows the unit of its reader, or whether it is read in a terminal or on a page,
carries its values (:class:`Says`) and is rendered at the edge. Durations read ``45 s``, ``11.4 min``, ``2 h 19 min``,
``4 days``; moments of a run ``1:25:30`` (hours, minutes, seconds); what counts down while one looks at it ``6:20``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Union

from soakwitness.firmware_bridge.common.surfaces import TERMINAL, Field, NextCommand, Surface
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin

UNKNOWN = "not known"
LONGEST_IN_SECONDS = 90.0  # from here on minutes: 115 s beside 8.5 min would have to be converted by who reads it
LONGEST_IN_MINUTES = 90.0  # from here on hours and minutes, as a clock has them
LONGEST_IN_HOURS = 72  # from here on whole days


def number(value: float, digits: int = 1) -> str:
    """A number with at most one decimal: ``780`` or ``1065.6``; ``digits``: what a person stated, with more."""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if digits else text
    return "0" if text == "-0" else text


def temperature(temp_c: float | None, unit: Unit, *, digits: int = 1) -> str:
    """A temperature [degC]: ``780 °C``."""
    return UNKNOWN if temp_c is None else f"{number(from_celsius(temp_c, unit), digits)} °{unit}"


def difference(kelvin: float | None, unit: Unit, *, signed: bool = False, digits: int = 1) -> str:
    """A difference of temperatures [K]: ``6 °C``, signed ``+0.7 °C``."""
    if kelvin is None:
        return UNKNOWN
    text = number(from_kelvin(kelvin, unit), digits)
    return f"{'+' if signed and not text.startswith('-') else ''}{text} °{unit}"


def rate(c_per_h: float | None, unit: Unit, *, in_tens: bool = False) -> str:
    """A rate [K/h]: ``400 °C/h``, below ten ``1.5 °C/h``; ``in_tens``: rounded to them."""
    if c_per_h is None:
        return UNKNOWN
    shown = from_kelvin(c_per_h, unit)
    if in_tens:
        shown = round(shown, -1)
    return f"{number(shown, 0 if abs(shown) >= 10.0 else 1)} °{unit}/h"


def duration(time_s: float | None) -> str:
    """A duration [s]: ``0.25 s``, ``45 s``, ``10 min``, ``11.4 min``, ``2 h``, ``2 h 19 min``, ``4 days``."""
    if time_s is None:
        return UNKNOWN
    if time_s < 0.0:
        return f"-{duration(-time_s)}"
    time_s = round(time_s, 0 if time_s >= 9.95 else 1 if time_s >= 0.995 else 2)
    if time_s < LONGEST_IN_SECONDS and time_s != 60.0:
        return f"{time_s:g} s"
    minutes = round(time_s / 60.0, 1)
    if minutes < LONGEST_IN_MINUTES:
        return f"{number(minutes)} min"
    hours, rest = divmod(round(minutes), 60)
    if hours >= LONGEST_IN_HOURS:
        return counted(hours // 24, "day")
    return f"{hours} h" + (f" {rest} min" if rest else "")


def duration_span(low_s: float, high_s: float) -> str:
    """From one duration to another [s]: ``10 to 11.4 min``, ``45 s to 2.5 min``."""
    low, high = duration(low_s), duration(high_s)
    return low if low == high else f"{_shortened(low, high)} to {high}"


def duration_range(best_s: float, low_s: float, high_s: float) -> str:
    """A duration with its bounds [s]: ``11.4 min (11.1 to 11.6)``; without them where they say nothing more.

    One that nobody knows the upper bound of (infinite) is ``11.4 min (11.1 min or longer)``.
    """
    best, low = duration(best_s), duration(low_s)
    if math.isinf(high_s):
        return f"{best} (or longer)" if low == best else f"{best} ({low} or longer)"
    high = duration(high_s)
    if low == high:
        return best
    both = _shortened(low, best), _shortened(high, best)
    return f"{best} ({' to '.join(both if both[0] != low and both[1] != high else (low, high))})"


def duration_of(had_s: float, asked_s: float) -> str:
    """How much of a duration there was [s]: ``11.4 of 15 min``; what rounding would hide: ``20 s less than 15 min``."""
    had, asked = duration(had_s), duration(asked_s)
    if had == asked and had_s < asked_s:
        return f"{duration(asked_s - had_s)} less than {asked}"
    return f"{_shortened(had, asked)} of {asked}"


def _shortened(text: str, beside: str) -> str:
    """A duration without its unit where the one beside it shows the same one."""
    unit = beside.rpartition(" ")[2]
    same = text.endswith(f" {unit}") and "h" not in text + beside
    return text.removesuffix(f" {unit}") if same else text


def moment(t_s: float | None) -> str:
    """A moment of a run [s since its start]: ``1:25:30``."""
    if t_s is None:
        return UNKNOWN
    whole = round(abs(t_s))
    return f"{'-' if t_s < -0.5 else ''}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def countdown(time_s: float) -> str:
    """What runs while one looks at it [s]: ``6:20``, ``1:06:20``; never more than is left."""
    whole = int(max(time_s, 0.0))
    hours, minutes = whole // 3600, whole // 60 % 60
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"


def counted(count: int, word: str) -> str:
    """``1 row``, ``2 rows``."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def percent(share: float, *, signed: bool = False) -> str:
    """A share: ``62 %``, signed ``+12 %``."""
    return f"{100.0 * share:{'+' if signed else ''}.0f} %"


def often(count: int) -> str:
    """``once``, ``twice``, ``3 times``."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def listed(words: Iterable[str], *, most: int = 6) -> str:
    """``A``, ``A and B``, ``A, B and C``; of many the first ones and how many more."""
    every = list(words)
    shown = every if len(every) <= most + 1 else [*every[:most], f"{len(every) - most} more"]
    return " and ".join(part for part in (", ".join(shown[:-1]), *shown[-1:]) if part)


@dataclass(frozen=True)
class Temp:
    """A temperature in a sentence [degC]."""

    temp_c: float
    digits: int = 1

    def text(self, unit: Unit) -> str:
        """In words."""
        return temperature(self.temp_c, unit, digits=self.digits)


@dataclass(frozen=True)
class Diff:
    """A difference of temperatures in a sentence [K]."""

    kelvin: float
    signed: bool = False
    digits: int = 1

    def text(self, unit: Unit) -> str:
        """In words."""
        return difference(self.kelvin, unit, signed=self.signed, digits=self.digits)


@dataclass(frozen=True)
class Rate:
    """A rate in a sentence [K/h]."""

    c_per_h: float

    def text(self, unit: Unit) -> str:
        """In words."""
        return rate(self.c_per_h, unit)


@dataclass(frozen=True)
class PastLimit:
    """A value beside the limit that it missed: what rounding would hide is ``just over 6 °C``, or ``just under``."""

    value: Temp | Diff | Rate
    limit: Temp | Diff | Rate
    over: bool

    def text(self, unit: Unit) -> str:
        """In words."""
        return _past_limit(self.value.text(unit), self.limit.text(unit), over=self.over)


def duration_past_limit(had_s: float, limit_s: float) -> str:
    """A duration beside the limit that it missed [s]: ``31 s``, and ``just over 30 s`` where rounding would hide it."""
    return _past_limit(duration(had_s), duration(limit_s), over=had_s > limit_s)


def _past_limit(value: str, limit: str, *, over: bool) -> str:
    return f"just {'over' if over else 'under'} {limit}" if value == limit else value


Value = Union[str, Temp, Diff, Rate, PastLimit, Field, NextCommand, "Says"]


@dataclass(frozen=True)
class Says:
    """A sentence that carries its values: ``Says.of("stood at {level}", level=Temp(1050.0))``.

    Braces in ``template`` name values; durations and counts, which have no unit to choose, are texts already. What the
    reader is to do next is a ``Field`` or a ``NextCommand``.
    """

    template: str
    values: tuple[tuple[str, Value], ...] = field(default=())

    @staticmethod
    def of(template: str, **values: Value) -> Says:
        """A sentence with its values."""
        return Says(template, tuple(values.items()))

    @staticmethod
    def plain(text: str) -> Says:
        """A text without values, braces and all."""
        return Says("{text}", (("text", text),))

    def text(self, unit: Unit, surface: Surface = TERMINAL) -> str:
        """The sentence in ``unit``, as it is read on ``surface``."""
        return self.template.format(**{name: _shown(value, unit, surface) for name, value in self.values})

    def __str__(self) -> str:
        """The sentence in degC."""
        return self.text("C")


def _shown(value: Value, unit: Unit, surface: Surface) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, (Field, NextCommand)):
        return value.text(surface)
    return value.text(unit, surface) if isinstance(value, Says) else value.text(unit)


def saying(words: str | Says) -> Says:
    """A sentence, with values or without any."""
    return Says.plain(words) if isinstance(words, str) else words


def joined(parts: Iterable[Value], between: str = " ") -> Says:
    """Sentences one after the other."""
    named = {f"part{number}": part for number, part in enumerate(parts)}
    return Says.of(between.join(f"{{{name}}}" for name in named), **named)
