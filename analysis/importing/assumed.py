"""What the column names say of units where a person says nothing, and what was assumed in all, as sentences."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.layout import Layout
from soakwitness.analysis.importing.numbers import is_like_a_number
from soakwitness.analysis.importing.rows import LogReader
from soakwitness.analysis.importing.settings import ImportSettings, TimeUnit
from soakwitness.analysis.importing.source import stripped_cells
from soakwitness.firmware_bridge.common.units import Unit

_UNITS = {
    "F": re.compile(r"°\s*F\b|[\[(_ ](?:deg)?F[\])]?$|fahrenheit", re.IGNORECASE),
    "C": re.compile(r"°\s*C\b|[\[(_ ](?:deg)?C[\])]?$|celsius", re.IGNORECASE),
    "K": re.compile(r"[\[(]K[\])]|\bkelvin\b"),
}
_TIME = re.compile(r"(?:^|[\[(/_ ])(ms|msec|milliseconds|s|sec|seconds|min|minutes|h|hours)[\])]?\.?$", re.IGNORECASE)
_TIME_UNITS: dict[str, TimeUnit] = {
    "ms": "ms", "msec": "ms", "milliseconds": "ms", "s": "s", "sec": "s", "seconds": "s", "min": "min",
    "minutes": "min", "h": "h", "hours": "h",
}  # fmt: skip
SEPARATOR_WORDS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", " ": "blanks"}


def with_units(settings: ImportSettings, layout: Layout) -> tuple[ImportSettings, tuple[str, ...]]:
    """Fill in the units that nobody stated from the columns' names and a line of units below; say what was taken.

    Raises ImportFileError if the names speak of kelvin, or of different units.
    """
    names = _spoken(layout)
    notes = []
    sensors = [layout.places.index(place) for place in layout.places[len(layout.places) - len(settings.columns) :]]
    heads = [names[k] for k, choice in zip(sensors, settings.columns, strict=True) if choice.role]
    unit, says = _temperature(settings.unit, heads, layout)
    notes += says
    time_unit = settings.time_unit
    spoken = _TIME.search(names[0]) if time_unit is None and settings.date is None else None
    if spoken:
        time_unit = _TIME_UNITS[spoken[1].lower()]
        if time_unit != "s":
            notes.append(f"Times that are numbers are taken in {time_unit}, as the name {names[0]!r} says.")
    return replace(settings, unit=unit, time_unit=time_unit), tuple(notes)


def _spoken(layout: Layout) -> list[str]:
    """Name of each wanted column, with what a line of units right below the names says of it."""
    if not layout.header_line:
        return ["" for _ in layout.places]
    below = layout.source.beginning[layout.skip : layout.skip + 1]
    cells = stripped_cells(below[0], layout.separator) if below else []
    units = cells if len(cells) == len(layout.names) and not any(map(is_like_a_number, cells)) else []
    return [layout.names[p] + (f" [{units[p].strip('[]()')}]" if units and units[p] else "") for p in layout.places]


def _temperature(stated: Unit | None, heads: Sequence[str], layout: Layout) -> tuple[Unit, list[str]]:
    spoken = {head: {unit for unit, word in _UNITS.items() if word.search(head)} for head in heads}
    said = set().union(*spoken.values())
    if stated is not None:
        other, words = ("F", "Fahrenheit") if stated == "C" else ("C", "Celsius")
        clash = [head for head, units in spoken.items() if other in units]
        return stated, [f"{head}: the name speaks of {words}, but the unit is {stated}, as said." for head in clash]
    if "K" in said or len(said) > 1:
        raise ImportFileError(
            f"{layout.path}: the names of the columns speak of {' and '.join(sorted(said))}: "
            f"{', '.join(map(repr, heads))}. All must be °C or all °F; where a name is wrong, say --unit C or --unit F."
        )
    if "F" in said:
        return "F", [f"Temperatures are taken in °F, as the name {heads[0]!r} says."]
    return "C", []


def assumed(reader: LogReader) -> tuple[str, ...]:
    """How the file was understood: sentences for a person who looks before importing."""
    layout, written, settings = reader.layout, reader.written, reader.settings
    apart = SEPARATOR_WORDS.get(layout.separator, repr(layout.separator))
    where = f"column names in line {layout.header_line}" if layout.header_line else "no column names"
    says = [f"Cells are parted by {apart}, {where}; {layout.source.encoding}; {written.style}."]
    columns = [
        f"{choice.name} ({choice.role or 'signal'}) is {layout.names[place]!r}"
        for choice, place in zip(settings.columns, layout.places[-len(settings.columns) :], strict=True)
    ]
    named = layout.names[layout.places[0]] if layout.header_line else "#" + str(layout.places[0] + 1)
    how = reader.times.describe() if reader.times is not None else ""
    says.append(f"Time is {named!r}: {how}.")
    says.append(f"{'; '.join(columns)}; temperatures in °{settings.unit}.")
    return tuple(says)
