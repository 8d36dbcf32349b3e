"""Log files as loggers, controllers and spreadsheets write them, each with its truth.

Written from what such files look like, not from what the import does with them: a campaign counts what comes out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

STEP_S = 30.0
START = datetime(2026, 3, 2, 7, 4, 10, tzinfo=UTC)
PLAIN = ("--time", "Time", "--sensor", "recording=Temp")

Row = tuple[float, float | None]


@dataclass(frozen=True)
class OddFile:
    """A file, the words it is imported with, and what stands in it. ``wants`` holds the outcomes that are no fault."""

    name: str
    content: bytes
    truth: tuple[Row, ...]
    words: tuple[str, ...] = PLAIN
    wants: tuple[str, ...] = ("right",)
    begins: datetime | None = None  # where the file tells the moment
    zone: str = "Etc/UTC"  # the computer's
    suffix: str = ".csv"
    unit: str = "C"
    says: tuple[str, ...] = ()  # what must stand in the answer whatever comes out


EITHER = ("right", "refused")
REFUSED = ("refused",)


def heating(count: int = 200, top: float = 1040.0, step: float = 0.1) -> list[Row]:
    """Up at 900 °C/h with a little waviness, a hold, and slowly down: 30 s a row, values on the logger's grid."""
    rows: list[Row] = []
    climb = int(count * 0.68)
    for at in range(count):
        if at < climb:
            value = 20.0 + (top - 20.0) * at / climb
        elif at < int(count * 0.85):
            value = top + 0.6 * ((at * 7) % 5 - 2) / 2
        else:
            value = top - 4.0 * (at - int(count * 0.85))
        rows.append((at * STEP_S, round(round(value / step) * step, 4)))
    return rows


def faulty(rows: Sequence[Row], at: range) -> list[Row]:
    """The rows with nothing had at these places."""
    return [(t, None if i in at else value) for i, (t, value) in enumerate(rows)]


def one_decimal(value: float) -> str:
    return f"{value:.1f}"


def commas(value: float) -> str:
    return f"{value:.1f}".replace(".", ",")


def seconds(t_s: float) -> str:
    return f"{t_s:g}"


def table(
    rows: Iterable[Row],
    *,
    sep: str = ",",
    write: Callable[[float], str] = one_decimal,
    clock: Callable[[float], str] = seconds,
    head: str | None = "Time{}Temp",
    missing: str = "",
    tail: str = "",
) -> str:
    """A table as text: what was not had is written as ``missing``."""
    lines = [] if head is None else [head.format(sep, sep, sep)]
    lines += [f"{clock(t)}{sep}{missing if value is None else write(value)}{tail}" for t, value in rows]
    return "\n".join(lines) + "\n"


def stamp(pattern: str, begins: datetime = START) -> Callable[[float], str]:
    """A clock that writes moments by a pattern."""
    return lambda t_s: (begins + timedelta(seconds=t_s)).strftime(pattern)


def elapsed(t_s: float) -> str:
    return f"{int(t_s) // 3600}:{int(t_s) // 60 % 60:02d}:{int(t_s) % 60:02d}"


def odd(name: str, text: str, rows: Sequence[Row], *words: str, encoding: str = "utf-8", **more: object) -> OddFile:
    return OddFile(name, text.encode(encoding), tuple(rows), words or PLAIN, **more)  # type: ignore[arg-type]


def separators() -> list[OddFile]:
    """Which sign parts cells, which parts a number."""
    rows, whole = heating(), heating(step=1.0)
    eighths = heating(step=0.125)
    hundreds = [(t, v) for t, v in heating(top=990.0)]
    late = [(t, float(round(v)) if v is not None and v < 800 else v) for t, v in rows]
    thousand = "{:,.0f}".format
    german = lambda v: f"{v:,.1f}".translate(str.maketrans(",.", ".,"))  # noqa: E731
    swiss = lambda v: f"{v:,.1f}".replace(",", "'")  # noqa: E731
    spaced = lambda v: f"{v:,.1f}".replace(",", "\u00a0").replace(".", ",")  # noqa: E731
    quoted = lambda v: f'"{v:,.1f}"'  # noqa: E731
    half = len(rows) // 2
    return [
        odd("plain", table(rows), rows),
        odd("semicolon, decimal comma", table(rows, sep=";", write=commas), rows),
        odd("tab, decimal comma", table(rows, sep="\t", write=commas), rows),
        odd("tab, point", table(rows, sep="\t"), rows),
        odd("bar", table(rows, sep="|"), rows),
        odd("padded with blanks", "Time     Temp\n" + "".join(f"{t:<9g}{v:>8.1f}\n" for t, v in rows), rows),
        odd("blanks around commas", table(rows, sep=" , "), rows),
        odd("thousands comma, semicolon, whole degrees", table(whole, sep=";", write=thousand), whole, wants=EITHER),
        odd("thousands comma, tab, whole degrees", table(whole, sep="\t", write=thousand), whole, wants=EITHER),
        odd("thousands point, semicolon, whole degrees", table(whole, sep=";", write=dotted), whole, wants=EITHER),
        odd("thousands comma quoted", table(rows, write=quoted), rows),
        odd("thousands comma quoted, whole degrees", table(whole, write=lambda v: f'"{v:,.0f}"'), whole, wants=EITHER),
        odd("thousands point, decimal comma", table(rows, sep=";", write=german), rows),
        odd("thousands apostrophe", table(rows, write=swiss), rows, wants=EITHER),
        odd("thousands blank, decimal comma", table(rows, sep=";", write=spaced), rows, wants=EITHER),
        odd(
            "eighths with a decimal comma, short",
            table(eighths, sep=";", write=lambda v: f"{v:g}".replace(".", ",")),
            eighths,
        ),
        odd(
            "eighths with a decimal comma, three places",
            table(eighths, sep=";", write=lambda v: f"{v:.3f}".replace(".", ",")),
            eighths,
            wants=EITHER,
        ),
        odd("eighths with a point, three places", table(eighths, write="{:.3f}".format), eighths),
        odd("eighths with a point, semicolon", table(eighths, sep=";", write="{:.3f}".format), eighths, wants=EITHER),
        odd("all thousandths below 1000", table(hundreds, sep=";", write=lambda v: f"{v:.3f}"), hundreds, wants=EITHER),
        odd("decimal comma, comma between, quoted", table(rows, write=lambda v: f'"{commas(v)}"'), rows),
        odd("decimal comma, comma between, bare", table(rows, write=commas), rows, wants=EITHER),
        odd("separator at every end", table(rows, sep=";", write=commas, head="Time{}Temp{}", tail=";"), rows),
        odd("separator at every end but not in the head", table(rows, sep=";", write=commas, tail=";"), rows),
        odd("an empty first column", "".join(f",{line}\n" for line in table(rows).splitlines()), rows),
        odd(
            "points first, commas later",
            table(rows[:half], sep=";") + table(rows[half:], sep=";", write=commas, head=None),
            rows,
            wants=EITHER,
        ),
        odd("whole degrees first, commas late", table(late, sep=";", write=lambda v: f"{v:g}".replace(".", ",")), late),
        odd("units behind the numbers", table(rows, write="{:.1f} °C".format), rows, wants=EITHER),
        odd("units stuck to the numbers", table(rows, write="{:.1f}C".format), rows, wants=EITHER),
        odd("exponents", table(rows, write="{:.4E}".format), [(t, float(f"{v:.4E}")) for t, v in rows]),
        odd("plus signs", table(rows, write="{:+07.1f}".format), rows),
        odd(
            "--decimal comma where points stand", table(rows, sep=";"), rows, *PLAIN, "--decimal", "comma", wants=EITHER
        ),
        odd("thousands in the seconds", table(rows, clock='"{:,.1f}"'.format), rows, wants=EITHER),
    ]


def quotes() -> list[OddFile]:
    """Quotes where they should and should not be."""
    rows = heating()
    lines = [f"{t:g},{v:.1f},ok" for t, v in rows]
    inches = [line[:-2] + '12" rack' if i in (20, 140) else line for i, line in enumerate(lines)]
    starts = [line[:-2] + '"in' if i in (20, 140) else line for i, line in enumerate(lines)]
    single = [line[:-2] + '"in' if i == 20 else line for i, line in enumerate(lines)]
    polite = [line[:-2] + '"in, by hand"' if i in (20, 140) else line for i, line in enumerate(lines)]
    multi = [line[:-2] + '"in\nby hand"' if i == 20 else line for i, line in enumerate(lines)]
    head = "Time,Temp,Note\n"
    every = '"Time","Temp"\n' + "".join(f'"{t:g}","{v:.1f}"\n' for t, v in rows)
    return [
        odd("inch signs in a note", head + "\n".join(inches) + "\n", rows, wants=EITHER),
        odd("two stray quotes", head + "\n".join(starts) + "\n", rows, wants=EITHER),
        odd("one stray quote", head + "\n".join(single) + "\n", rows, wants=EITHER),
        odd("a note with the separator in it", head + "\n".join(polite) + "\n", rows),
        odd("a note over two lines", head + "\n".join(multi) + "\n", rows, wants=EITHER),
        odd("every cell quoted", every, rows),
        odd(
            "a head over two lines",
            '"Time","Temp\n[C]"\n' + "\n".join(lines) + "\n",
            rows,
            "--time",
            "#1",
            "--sensor",
            "load=#2",
            wants=EITHER,
        ),
        odd("single quotes", table(rows, write="'{:.1f}'".format), rows, wants=EITHER),
    ]


def dotted(value: float) -> str:
    return f"{value:,.0f}".replace(",", ".")


def fault_file(
    name: str, code: str, at: range, *words: str, rows: Sequence[Row] | None = None, **more: object
) -> OddFile:
    truth = faulty(rows or heating(), at)
    return odd(f"fault {name}", table(truth, missing=code), truth, *(words or PLAIN), **more)


def faults() -> list[OddFile]:
    """Values that say that nothing was read, and those that look so."""
    middle = range(150, 165)
    rows, whole = heating(), faulty(heating(step=1.0), middle)
    steady = [(t, float(min(round(v), 1040))) if v is not None else (t, v) for t, v in heating(600)]
    door = [(t, v - 300.0 if i in (150, 151) and v is not None else v) for i, (t, v) in enumerate(rows)]
    asleep = [(t if i < 20 else t + 7200.0, v if i < 20 else 1040.0) for i, (t, v) in enumerate(rows[:120])]
    short = [(t, v if i < 120 else 22.0) for i, (t, v) in enumerate(rows)]
    words = ["OPEN", "----", "Err", "NaN", "OL", "n/a", "#VALUE!", "-", "null", "***"]
    spoken = faulty(rows, middle)
    cells = [words[i % len(words)] if v is None else f"{v:.1f}" for i, (_, v) in enumerate(spoken)]
    twofold = [f"{t:g},{v:.1f},9999.0" for t, v in rows]
    sparse = [(t, v if i % 10 == 0 else None) for i, (t, v) in enumerate(heating(600))]
    fahrenheit = [(t, round(v * 1.8 + 32, 1)) for t, v in rows if v is not None]
    return [
        fault_file("1372", "1372.0", middle, *PLAIN, "--thermocouple", "k"),
        fault_file("1372, once", "1372.0", range(150, 151), *PLAIN, "--thermocouple", "k"),
        fault_file("1372 at the start", "1372.0", range(0, 20), *PLAIN, "--thermocouple", "k"),
        fault_file("1372 to the end", "1372.0", range(170, 200), *PLAIN, "--thermocouple", "k"),
        fault_file("1372, letter not said", "1372.0", middle),
        fault_file("9999", "9999", middle),
        fault_file("9999.9", "9999.9", middle),
        fault_file("-200", "-200.0", middle),
        fault_file("-999.9", "-999.9", middle),
        fault_file("3276.7", "3276.7", middle),
        fault_file("-32768", "-32768", middle),
        fault_file("65535", "65535", middle),
        fault_file("1372 and nothing else", "1372", range(0, 200), *PLAIN, "--thermocouple", "k", wants=("refused",)),
        odd("fault 9999 beside 1.040", table(whole, sep=";", write=dotted, missing="9999"), whole, wants=EITHER),
        odd("fault 9.999 beside 1.040", table(whole, sep=";", write=dotted, missing="9.999"), whole, wants=EITHER),
        fault_file("0 in the middle", "0.0", middle),
        fault_file(
            "850 thrice, said",
            "850.0",
            range(150, 153),
            *PLAIN,
            "--fault-value",
            "850",
            rows=[(t, v + 0.05 if v == 850.0 else v) for t, v in rows],
        ),
        fault_file("9999 said", "9999", middle, *PLAIN, "--fault-value", "9999"),
        fault_file("two said", "-1", middle, *PLAIN, "--fault-value", "9999", "--fault-value", "-1"),
        fault_file(
            "2501.6 in °F", "2501.6", middle, *PLAIN, "--unit", "F", "--thermocouple", "k", rows=fahrenheit, unit="F"
        ),
        odd(
            "fault words",
            "Time,Temp\n" + "".join(f"{t:g},{c}\n" for (t, _), c in zip(spoken, cells, strict=True)),
            spoken,
        ),
        odd("a long level hold is no fault", table(steady), steady),
        odd("an open door is no fault", table(door), door),
        odd("the logger slept through the climb", table(asleep), asleep),
        odd("shorted: the room's 22 is a reading", table(short), short),
        odd(
            "a second column always at 9999",
            "Time,Temp,Temp2\n" + "\n".join(twofold) + "\n",
            rows,
            *PLAIN,
            "--sensor",
            "load=Temp2",
            wants=EITHER,
        ),
        odd("a column read every tenth row", table(sparse), sparse),
        odd("tenths of a degree as whole numbers", table(rows, write=lambda v: f"{v * 10:.0f}"), rows, wants=EITHER),
    ]
