"""Log files put together by chance: a furnace's course, a resolution, a clock, a table's dress, faults and dirt."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from tests.odd_files import EITHER, OddFile, Row

CODES_C = ("1372.0", "1372", "9999", "9999.0", "-200", "-200.0", "-999.9", "3276.7", "32767", "-9999", "65535")
WORDS = ("OPEN", "----", "Err", "n/a", "OL", "#N/A", "")
DAY = datetime(2026, 1, 5, tzinfo=UTC)


def course(chance: random.Random, count: int, every_s: float) -> list[float]:
    """Temperatures of a heating with ramps, holds, a door and noise [degC], as a furnace of a shop can have them."""
    values = [chance.uniform(10.0, 35.0) if chance.random() < 0.8 else chance.uniform(100.0, 700.0)]
    while len(values) < count:
        goal, rate = (
            chance.choice((180.0, 250.0, 520.0, 780.0, 840.0, 1010.0, 1040.0, 1080.0)),
            chance.uniform(0.05, 0.6),
        )
        while abs(goal - values[-1]) > rate * every_s:
            values.append(values[-1] + (rate if goal > values[-1] else -rate) * every_s)
        values += [
            goal + chance.gauss(0.0, chance.choice((0.0, 0.3, 1.5))) for _ in range(chance.randint(3, count // 3))
        ]
        if chance.random() < 0.2:
            values += [values[-1] - drop for drop in (60.0, 110.0, 90.0, 40.0, 10.0)]
    return values[:count]


def dressed(chance: random.Random, grid: float) -> tuple[str, str, Callable[[float], str], str]:
    """Separator, decimal sign, how a number is written, and what kind of dress that is."""
    kind = chance.choice(
        ("plain", "plain", "comma", "comma", "tab", "german", "english", "quoted comma", "bar", "blank")
    )
    places = max(0, len(f"{grid:g}".partition(".")[2]))
    point: Callable[[float], str] = f"{{:.{places}f}}".format
    grouped: Callable[[float], str] = f"{{:,.{places}f}}".format
    swap = str.maketrans(",.", ".,")
    if kind == "comma":
        return ";", ",", lambda v: point(v).replace(".", ","), kind
    if kind == "tab":
        return "\t", ".", point, kind
    if kind == "german":
        return ";", ",", lambda v: grouped(v).translate(swap), kind
    if kind == "english":
        return chance.choice((";", "\t")), ".", grouped, kind
    if kind == "quoted comma":
        return ",", ",", lambda v: '"' + point(v).replace(".", ",") + '"', kind
    if kind == "bar":
        return "|", ".", point, kind
    return (";" if kind == "blank" else ","), ".", (lambda v: f" {point(v)} ") if kind == "blank" else point, kind


def mixture(number: int) -> OddFile:
    """The file of this number."""
    chance = random.Random(number)
    every_s = chance.choice((1.0, 2.0, 5.0, 10.0, 30.0, 60.0))
    count = chance.choice((12, 40, 150, 400))
    grid = chance.choice((1.0, 1.0, 0.5, 0.1, 0.1, 0.125, 0.01, 0.001, 0.25))
    values = [round(round(v / grid) * grid, 4) for v in course(chance, count, every_s)]
    sep, decimal, write, dress = dressed(chance, grid)
    rows: list[Row] = [(at * every_s, value) for at, value in enumerate(values)]
    cells = [write(value) for value in values]
    fault = ""
    if chance.random() < 0.5:
        fault = chance.choice(CODES_C if chance.random() < 0.6 else WORDS)
        begin = chance.choice((0, chance.randrange(count), count - 3))
        for at in range(begin, min(count, begin + chance.choice((1, 2, 5, 30)))):
            rows[at] = (rows[at][0], None)
            cells[at] = fault.replace(".", decimal) if decimal == "," and dress != "quoted comma" else fault
    clock, words, begins = _clock(chance, every_s, decimal if dress != "quoted comma" else ".")
    head = chance.choice(("Time{0}Temp", "Nr{0}Time{0}Temp", "Time{0}Temp{0}Note"))
    lines = [head.format(sep)]
    for at, cell in enumerate(cells):
        parts = [clock(at), cell]
        parts = [str(at + 1), *parts] if head.startswith("Nr") else parts
        lines.append(sep.join([*parts, chance.choice(("", "ok"))] if head.endswith("Note") else parts))
    if chance.random() < 0.3:
        lines[:0] = ["Logger LX 7", f"Serial{sep}12345", ""][: chance.randint(1, 3)]
    if chance.random() < 0.15:
        lines += ["", "End of log"][: chance.randint(1, 2)]
    end = chance.choice(("\n", "\r\n"))
    text = end.join(lines) + (end if chance.random() < 0.9 else "")
    encoding = chance.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16"))
    name = f"mixture {number}: {dress}, grid {grid:g}, {count} rows at {every_s:g} s, fault {fault!r}"
    if not any(value is not None for _, value in rows):
        rows = rows[:]
    return OddFile(name, text.encode(encoding), tuple(rows), tuple(words), wants=EITHER, begins=begins)


def _clock(
    chance: random.Random, every_s: float, decimal: str
) -> tuple[Callable[[int], str], list[str], datetime | None]:
    begins = DAY + timedelta(seconds=chance.randrange(20 * 86400))
    words = ["--time", "Time", "--sensor", "recording=Temp", "--thermocouple", "k"]
    kind = chance.choice(("seconds", "seconds", "tenths", "iso", "zulu", "elapsed", "dotted", "minutes"))
    if kind == "iso":
        return (lambda at: (begins + timedelta(seconds=at * every_s)).strftime("%Y-%m-%d %H:%M:%S")), words, begins
    if kind == "zulu":
        return (lambda at: (begins + timedelta(seconds=at * every_s)).strftime("%Y-%m-%dT%H:%M:%SZ")), words, begins
    if kind == "dotted":
        how = "%d.%m.%Y %H:%M:%S"
        return (
            (lambda at: (begins + timedelta(seconds=at * every_s)).strftime(how)),
            [*words, "--time-format", how],
            begins,
        )
    if kind == "elapsed":
        return (lambda at: str(timedelta(seconds=at * every_s)).rpartition(" ")[2]), words, None
    if kind == "minutes":
        return (lambda at: f"{at * every_s / 60:.4f}".replace(".", decimal)), [*words, "--time-unit", "min"], None
    places = 1 if kind == "tenths" else 0
    return (lambda at: f"{at * every_s:.{places}f}".replace(".", decimal)), words, None
