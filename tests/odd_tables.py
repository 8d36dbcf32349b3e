"""The other half of the odd files: clocks, heads and remarks, tables of which most does not fit, spreadsheets."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from xml.sax.saxutils import escape

from tests.odd_files import (
    EITHER,
    PLAIN,
    REFUSED,
    START,
    OddFile,
    commas,
    elapsed,
    faults,
    heating,
    odd,
    quotes,
    separators,
    stamp,
    table,
)

GERMAN = "%d.%m.%Y %H:%M:%S"
AUTUMN = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)  # Berlin's clocks go back at 01:00 UTC
SPRING = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)  # and forward at 01:00 UTC


def wall(pattern: str, begins: datetime, jump_s: float = 0.0) -> Callable[[float], str]:
    """A wall clock that is an hour before UTC and jumps by this much at 01:00 UTC."""
    turn = begins.replace(hour=1, minute=0)

    def clock(t_s: float) -> str:
        at = begins + timedelta(seconds=t_s)
        return (at + timedelta(hours=1, seconds=jump_s if at >= turn else 0.0)).strftime(pattern)

    return clock


def times() -> list[OddFile]:
    """How loggers write the time."""
    rows, long = heating(), [(t * 10, v) for t, v in heating(600)]
    night = START.replace(hour=22, minute=30, second=0)
    iso, local = "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S"
    dated = "Date,Time,Temp\n" + "".join(f"{stamp('%Y-%m-%d,%H:%M:%S')(t)},{v:.1f}\n" for t, v in rows)
    both = ("--date", "Date", *PLAIN)

    def midnight(pattern: str) -> list[str]:
        moments = [(night + timedelta(seconds=t)) for t, _ in rows]
        return [
            (m - timedelta(days=1)).strftime(pattern).replace("00:00:00", "24:00:00")
            if (m.hour, m.minute, m.second) == (0, 0, 0)
            else m.strftime(pattern)
            for m in moments
        ]

    def joined(clocks: Sequence[str], head: str = "Time,Temp") -> str:
        return head + "\n" + "".join(f"{c},{v:.1f}\n" for c, (_, v) in zip(clocks, rows, strict=True))

    def refused(name: str, text: str) -> OddFile:
        """Stamps of Berlin that are no moments, or two."""
        return odd(name, text, rows, wants=REFUSED, zone="Europe/Berlin", says=("Europe/Berlin",))

    half = [(t - (600.0 if i >= 100 else 0.0), v) for i, (t, v) in enumerate(rows)]
    again = [(t if i < 100 else t - 3000.0, v) for i, (t, v) in enumerate(rows)]
    serial = lambda t: f"{46083.294560 + t / 86400:.6f}"  # noqa: E731
    return [
        odd("elapsed beyond 24:00:00", table(long, clock=elapsed), long),
        odd(
            "elapsed, two fields", table(rows, clock=lambda t: f"{int(t) // 60}:{int(t) % 60:02d}"), rows, wants=EITHER
        ),
        odd("time of day only, over midnight", table(rows, clock=stamp("%H:%M:%S", night)), rows, wants=EITHER),
        odd("24:00:00 in a stamp", joined(midnight(local)), rows, begins=night),
        odd("24:00:00, date apart", joined(midnight("%Y-%m-%d,%H:%M:%S"), "Date,Time,Temp"), rows, *both, begins=night),
        odd(
            "24:00:00, dotted, format said",
            joined(midnight(GERMAN)),
            rows,
            *PLAIN,
            "--time-format",
            GERMAN,
            begins=night,
        ),
        odd("ISO with Z", table(rows, clock=stamp(iso + "Z")), rows, begins=START),
        odd("ISO with an offset", table(rows, clock=stamp(iso + "+01:00")), rows, begins=START - timedelta(hours=1)),
        odd(
            "ISO local",
            table(rows, clock=wall(local, START)),
            rows,
            begins=START,
            zone="Europe/Berlin",
            says=("Europe/Berlin",),
        ),
        odd(
            "ISO local, zone said",
            table(rows, clock=stamp(local)),
            rows,
            *PLAIN,
            "--zone",
            "+01:00",
            begins=START - timedelta(hours=1),
        ),
        refused("the doubled hour", table(rows, clock=wall(local, AUTUMN, 0.0)).replace("03:", "02:")),
        refused("the doubled hour, straight through", table(rows, clock=wall(local, AUTUMN))),
        refused("the missing hour", table(rows, clock=wall(local, SPRING))),
        odd(
            "over the missing hour",
            table(rows, clock=wall(local, SPRING, 3600.0)),
            rows,
            begins=SPRING,
            zone="Europe/Berlin",
        ),
        odd(
            "the doubled hour with offset",
            table(rows, clock=lambda t: stamp(iso + "+02:00", AUTUMN + timedelta(hours=2))(t)),
            rows,
            begins=AUTUMN,
            zone="Europe/Berlin",
        ),
        odd("a date column", dated, rows, *both, begins=START),
        odd(
            "dotted dates, format said",
            table(rows, clock=stamp(GERMAN)),
            rows,
            *PLAIN,
            "--time-format",
            GERMAN,
            begins=START,
        ),
        odd("dotted dates, format not said", table(rows, clock=stamp(GERMAN)), rows, wants=EITHER, begins=START),
        odd(
            "slashed dates, format not said",
            table(rows, clock=stamp("%m/%d/%Y %H:%M:%S")),
            rows,
            wants=EITHER,
            begins=START,
        ),
        odd(
            "AM and PM, format said",
            table(rows, clock=stamp("%m/%d/%Y %I:%M:%S %p", START.replace(hour=11, minute=40))),
            rows,
            *PLAIN,
            "--time-format",
            "%m/%d/%Y %I:%M:%S %p",
            begins=START.replace(hour=11, minute=40),
        ),
        odd("seconds since 1970", table(rows, clock=lambda t: f"{START.timestamp() + t:.0f}"), rows),
        odd("a spreadsheet's day numbers", table(rows, clock=serial), rows, wants=EITHER),
        odd(
            "milliseconds, in the head only",
            table(rows, clock=lambda t: f"{t * 1000:.0f}", head="Time (ms){}Temp"),
            rows,
            "--time",
            "#1",
            "--sensor",
            "recording=Temp",
            wants=EITHER,
        ),
        odd(
            "minutes, in the head only",
            table(rows, clock=lambda t: f"{t / 60:g}", head="Time [min]{}Temp"),
            rows,
            "--time",
            "#1",
            "--sensor",
            "recording=Temp",
            wants=EITHER,
        ),
        odd("minutes said", table(rows, clock=lambda t: f"{t / 60:g}"), rows, *PLAIN, "--time-unit", "min"),
        odd("the clock was set back", table(half, clock=stamp(iso + "Z")), rows, wants=REFUSED),
        odd("seconds begin again", table(again), rows, wants=REFUSED),
        odd("two rows a minute, no seconds written", table(rows, clock=stamp("%Y-%m-%d %H:%M")), rows, wants=EITHER),
        odd("newest first", table(rows[::-1], clock=stamp(iso + "Z")), rows, wants=EITHER, begins=START),
        odd(
            "fractions behind a comma",
            table(rows, sep=";", write=commas, clock=stamp("%Y-%m-%d %H:%M:%S,250")),
            rows,
            begins=START + timedelta(seconds=0.25),
        ),
        odd(
            "day and month the wrong way round",
            table([(t * 432, v) for t, v in rows], clock=stamp("%d/%m/%Y %H:%M:%S")),
            [(t * 432, v) for t, v in rows],
            *PLAIN,
            "--time-format",
            "%m/%d/%Y %H:%M:%S",
            wants=REFUSED,
        ),
    ]


def heads() -> list[OddFile]:
    """What stands around the table."""
    rows = heating()
    plain = table(rows)
    remarks = "Logger LX\nSerial: 12345\nInterval: 30 s\nOperator: me\n\nBegun 2026-03-02 08:04\n"
    cut = table(rows)[:-4]  # the last number loses its end and the line its end
    half = len(rows) // 2
    swap = "Temp,Time\n" + "".join(f"{v:.1f},{t:g}\n" for t, v in rows[half:])
    blanks = plain.replace("\n", "\n\n")
    tied = "Time,Temp,Temp\n" + "".join(f"{t:g},{v:.1f},{v - 5:.1f}\n" for t, v in rows)
    return [
        odd("remarks", remarks + plain, rows),
        odd(
            "remarks with separators",
            "Serial;12345;;\nRange;0;1200;°C\nNote;a;b;c\n" + table(rows, sep=";", write=commas),
            rows,
        ),
        odd("remarks behind #", "# logger\n# 1,2,3\n" + plain, rows),
        odd("the word Time in a remark", "Time of export,2026-03-02\nTime,08:04\n" + plain, rows),
        odd("a row of units", plain.replace("Time,Temp\n", "Time,Temp\ns,°C\n"), rows),
        odd("no head, by place", table(rows, head=None), rows, "--time", "#1", "--sensor", "recording=#2"),
        odd(
            "no head but remarks, by place",
            remarks + table(rows, head=None),
            rows,
            "--time",
            "#1",
            "--sensor",
            "recording=#2",
            wants=EITHER,
        ),
        odd("the head again half-way", table(rows[:half]) + table(rows[half:]), rows, wants=EITHER),
        odd("columns swap half-way", table(rows[:half]) + swap, rows, wants=REFUSED),
        odd("a foot", plain + "End of log\nRows: 200\n", rows),
        odd("a foot with numbers", plain + ",\nMax,1040.6\nMin,20.0\n", rows, wants=EITHER),
        odd("a foot with bare numbers", plain + "200,1040.6\n", rows, wants=EITHER),
        odd("blank lines", blanks, rows),
        odd("two columns of one name", tied, rows, wants=REFUSED),
        odd("mark of byte order", plain, rows, encoding="utf-8-sig"),
        odd("UTF-16", plain, rows, encoding="utf-16"),
        odd("UTF-16 without a mark", plain, rows, encoding="utf-16-le", wants=EITHER),
        odd(
            "Latin-1",
            plain.replace("Temp\n", "Temp °C\n"),
            rows,
            "--time",
            "Time",
            "--sensor",
            "recording=Temp °C",
            encoding="latin-1",
        ),
        odd("DOS line ends", plain.replace("\n", "\r\n"), rows),
        odd("old line ends", plain.replace("\n", "\r"), rows, wants=EITHER),
        odd("names with other case and blanks", plain.replace("Time,Temp", " time , TEMP "), rows, wants=EITHER),
        odd("zeros behind the end", plain + "\0" * 512, rows, wants=EITHER),
        odd("cut within the last number", cut, rows[:-1]),
        odd("bad bytes in a note", plain, rows, wants=EITHER, encoding="utf-8"),
        odd(
            "°F in the head, unit not said",
            plain.replace("Temp\n", "Temp (°F)\n"),
            rows,
            "--time",
            "Time",
            "--sensor",
            "recording=#2",
            wants=EITHER,
            unit="F",
        ),
        odd("°F in a line of units", plain.replace("Temp\n", "Temp\ns,°F\n"), rows, wants=EITHER, unit="F"),
        odd(
            "kelvin in the head",
            plain.replace("Temp\n", "Temp [K]\n"),
            rows,
            "--time",
            "Time",
            "--sensor",
            "recording=#2",
            wants=REFUSED,
        ),
        odd(
            "a column of words",
            "Time,Temp,State\n" + "".join(f"{t:g},{v:.1f},on\n" for t, v in rows),
            rows,
            "--time",
            "Time",
            "--sensor",
            "recording=State",
            wants=REFUSED,
        ),
        odd(
            "most cells spoilt",
            table(rows[:60]) + table(rows[60:], head=None, write="{:.1f} C?".format),
            rows,
            wants=EITHER,
        ),
        odd(
            "most times spoilt",
            table(rows[:60]) + table(rows[60:], head=None, clock=lambda t: f"T+{t:g}"),
            rows,
            wants=EITHER,
        ),
        odd(
            "a third of the times spoilt",
            table(rows[:130]) + table(rows[130:], head=None, clock=lambda t: f"T+{t:g}"),
            rows,
            wants=EITHER,
        ),
        odd(
            "a third of the rows too short",
            table(rows[:130]) + "".join(f"{t:g}\n" for t, _ in rows[130:]),
            rows,
            wants=EITHER,
        ),
        odd(
            "other separator half-way", table(rows[:half]) + table(rows[half:], head=None, sep=";"), rows, wants=EITHER
        ),
        odd("empty", "", rows, wants=REFUSED),
        odd("a head alone", "Time,Temp\n", rows, wants=REFUSED),
        odd("one row", "Time,Temp\n0,20.0\n", rows[:1], wants=EITHER),
        odd(
            "a page",
            "<html><table><tr><td>Time</td><td>Temp</td></tr></table></html>",
            rows,
            wants=REFUSED,
            suffix=".xls",
        ),
        OddFile("a picture", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40, tuple(rows), wants=REFUSED, suffix=".csv"),
        OddFile(
            "bad bytes",
            plain.replace("600,", "600,\udcff,").encode("utf-8", "surrogateescape"),
            tuple(rows),
            wants=EITHER,
        ),
    ]


def workbook(rows: Sequence[Sequence[object]]) -> bytes:
    """An .xlsx as a spreadsheet writes it, from its published parts (ECMA-376), without the library that reads it."""
    letters = "ABCDEFG"

    def cell(at: str, value: object) -> str:
        if value is None:
            return ""
        if isinstance(value, datetime):  # days since 1899-12-30, in a style that is a date
            days = (value - datetime(1899, 12, 30)) / timedelta(days=1)
            return f'<c r="{at}" s="1"><v>{days:.9f}</v></c>'
        if isinstance(value, str):
            return f'<c r="{at}" t="inlineStr"><is><t>{escape(value)}</t></is></c>'
        return f'<c r="{at}"><v>{value}</v></c>'

    body = "".join(
        f'<row r="{r}">' + "".join(cell(f"{letters[c]}{r}", value) for c, value in enumerate(row)) + "</row>"
        for r, row in enumerate(rows, 1)
    )
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{kind}.worksheet+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{kind}.styles+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="r1" Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets>'
        '<sheet name="Log" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="r1" Type="{office}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="r2" Type="{office}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": f'<styleSheet xmlns="{main}"><fonts count="1"><font/></fonts>'
        '<fills count="1"><fill><patternFill patternType="none"/></fill></fills><borders count="1"><border/></borders>'
        '<cellStyleXfs count="1"><xf/></cellStyleXfs>'
        '<cellXfs count="2"><xf/><xf numFmtId="22" applyNumberFormat="1"/></cellXfs></styleSheet>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{body}</sheetData></worksheet>',
    }
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as package_file:
        for name, text in parts.items():
            package_file.writestr(name, '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>' + text)
    return kept.getvalue()


def spreadsheets() -> list[OddFile]:
    """Tables saved from a spreadsheet; without what reads them, a refusal that says what to install."""
    rows = heating()
    naive = START.replace(tzinfo=None)
    dated = [[naive + timedelta(seconds=t), v] for t, v in rows]
    broken = [[t, "#N/A" if i in range(150, 160) else v] for i, (t, v) in enumerate(rows)]
    gone = tuple((t, None if i in range(150, 160) else v) for i, (t, v) in enumerate(rows))
    remarks = [["Logger", "LX"], ["Serial", 12345], [None, None]]
    head = [["Time", "Temp"]]
    made = [
        ("spreadsheet", [*head, *rows], tuple(rows), None),
        ("spreadsheet with dates", [*head, *dated], tuple(rows), START),
        ("spreadsheet with remarks", [*remarks, *head, *rows], tuple(rows), None),
        ("spreadsheet with error cells", [*head, *broken], gone, None),
    ]
    return [
        OddFile(name, workbook(cells), truth, wants=EITHER, begins=begins, suffix=".xlsx")
        for name, cells, truth, begins in made
    ]


def odd_files() -> list[OddFile]:
    """All of them."""
    return separators() + quotes() + faults() + times() + heads() + spreadsheets()
