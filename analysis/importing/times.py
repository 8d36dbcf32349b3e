"""The time column of a foreign log: seconds (or ms, min, h), ISO 8601, or a stated format.

A column of seconds keeps its own figures as ``t_s``; any other way of writing time starts at 0 with the first row.
Hours of 24 and more are those of the days after, as elapsed times and some loggers at midnight write them.
"""

from __future__ import annotations

import re
from datetime import datetime, tzinfo
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.settings import ImportSettings
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.zones import zone_of
from soakwitness.firmware_bridge.errors import UnknownZone

EPOCH_S = 5e8  # seconds since 1970 from here on (1985) can be no time since the start of a run
DAY_S = 86_400.0
USUAL_FORMATS = (
    "%d.%m.%Y %H:%M:%S", "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M:%S", "%Y/%m/%d %H:%M:%S", "%d-%m-%Y %H:%M:%S",
    "%d.%m.%Y %H:%M", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M", "%m/%d/%Y %I:%M:%S %p", "%d.%m.%y %H:%M:%S",
    "%H:%M:%S", "%H:%M", "%Y%m%d %H%M%S", "%Y%m%d%H%M%S",
)  # fmt: skip
LONGEST = 60  # signs of a time as anyone writes it
_CLOCK = re.compile(r"\d{1,6}:\d{2}:\d{2}(?:[.,]\d+)?")
_BEYOND = re.compile(r"(^|[T\s])(2[4-9]|[3-9]\d|\d{3,6})(?=:)")  # hours of 24 and more
_ZONED = re.compile(r"(?:Z|[+-]\d{2}:?\d{2}|[+-]\d{2})$")
_ISO = re.compile(r"\d{4}-?\d{2}-?\d{2}([T ]\d{2}(:?\d{2}){0,2}([.,]\d+)?)?\s*(Z|[+-]\d{2}:?\d{0,2})?")


def _zone(text: str) -> tzinfo:
    try:
        return zone_of(text)
    except UnknownZone as error:
        raise ImportFileError(f"--zone: {error}") from None


class TimeReader:
    """Turns the cells of a time column into seconds; what kind of time it is shows in the first cell.

    ``local_zone`` is that of local times where nobody states one; ``took_local_zone`` says that it was needed.
    """

    def __init__(self, settings: ImportSettings, first: str, place: str, *, local_zone: str | None = None) -> None:
        self._settings = settings
        self._local_zone = local_zone
        self.took_local_zone = False
        self._zone = _zone(settings.zone) if settings.zone else None
        self._zoned = "%z" in (settings.time_format or "")
        self._kind = self._find_kind(first, place)
        self._days = 0
        self._last_s: float | None = None
        self._last_wall: np.datetime64 | None = None
        self._second_pass = False  # in the hour that a change of clocks repeats
        self._went_back = False  # the log itself shows which pass is which
        self._twice: tuple[int, str] | None = None  # line and time of the first that the zone has twice

    @property
    def keeps_figures(self) -> bool:
        """Whether the file's own figures stand as ``t_s``."""
        return self._kind == "seconds"

    @property
    def numeric(self) -> bool:
        """Whether times are written as plain numbers."""
        return self._kind in ("seconds", "epoch")

    @property
    def absolute(self) -> bool:
        """Whether the file says when it was, not only how long since its start."""
        return self._kind in ("epoch", "iso", "dated")

    def describe(self) -> str:
        """How times are written, in words."""
        if self.numeric:
            unit = self._settings.time_unit or "s"
            return f"a number, {unit} since 1970" if self._kind == "epoch" else f"a number, in {unit}"
        zone = "with its zone" if self._zoned else f"in {self._zone}"
        format_words = f"written {self._settings.time_format!r}"
        words = {"iso": f"ISO 8601, {zone}", "dated": f"{format_words}, {zone}", "clock": format_words}
        return words.get(self._kind, "hours, minutes, seconds, without a date")

    def read(self, cells: npt.NDArray[Any], lines: npt.NDArray[np.int64], place: str) -> FloatArray:
        """Return the times of these cells [s], NaN where a cell is no time.

        Raises ImportFileError for a local time that the zone does not have.
        """
        if self.numeric:
            numbers = np.asarray(pd.to_numeric(pd.Series(cells), errors="coerce"), dtype=np.float64)
            return np.where(np.isfinite(numbers), numbers * self._settings.seconds_per, np.nan)
        if self._kind == "elapsed":
            text = pd.Series(cells, dtype=object).str.replace(",", ".", regex=False)
            since = pd.to_timedelta(text.where(text.str.fullmatch(_CLOCK.pattern)), errors="coerce")
            return self._past_midnight(np.asarray(since.dt.total_seconds(), dtype=np.float64))
        if self._kind == "iso":
            self._check_zones(cells, lines, place)
        text = pd.Series([cell if len(cell) <= LONGEST else "" for cell in cells], dtype=object)
        text, days = self._whole_days(text)
        if self._kind == "iso":
            text = text.where(text.str.fullmatch(_ISO.pattern), "").str.replace(",", ".", regex=False)
        how = "ISO8601" if self._kind == "iso" else self._settings.time_format
        read = pd.to_datetime(text, format=how, errors="coerce", utc=self._zoned) + days
        if self._zoned:
            return _seconds(read.dt.tz_localize(None).to_numpy())
        if self._kind == "clock":
            return self._past_midnight(_seconds(read.to_numpy()))
        return self._local(read, lines, place)

    def finish(self, place: str) -> None:
        """Refuse local times that the zone has twice where the log's clock never goes back to show which is which.

        Raises ImportFileError with the first such time.
        """
        if self._twice is None or self._went_back:
            return
        line, wall = self._twice
        first, second = (
            datetime.fromisoformat(wall).replace(tzinfo=self._zone, fold=fold).isoformat()[-6:] for fold in (0, 1)
        )
        raise ImportFileError(
            f"{place}, line {line}: the time {wall} is there twice in {self._zone}: its clocks go back over that hour, "
            f"and the log does not show which is meant. Give the logger's own distance from UTC: --zone {first} or "
            f"--zone {second}."
        )

    def _whole_days(self, text: pd.Series[Any]) -> tuple[pd.Series[Any], Any]:
        """Times with hours below 24, and the days that were taken out of them."""
        how = self._settings.time_format
        if how is not None and not re.search("%[HT]", how):
            return text, pd.Timedelta(0)
        days = np.zeros(len(text), dtype="timedelta64[D]")
        for at in [k for k, cell in enumerate(text) if _BEYOND.search(cell)]:
            hours = int(_BEYOND.search(text.iloc[at])[2])  # type: ignore[index]
            days[at] = hours // 24
            text.iloc[at] = _BEYOND.sub(rf"\g<1>{hours % 24:02d}", text.iloc[at], count=1)
        return text, pd.Series(days) if days.any() else pd.Timedelta(0)

    def _check_zones(self, cells: npt.NDArray[Any], lines: npt.NDArray[np.int64], place: str) -> None:
        for cell, line in zip(cells, lines.tolist(), strict=True):
            if bool(_ZONED.search(cell[10:])) != self._zoned and _ISO.fullmatch(cell):
                raise ImportFileError(
                    f"{place}, line {line}: time {cell!r}: some times have a time zone and others have none."
                )

    def _find_kind(self, first: str, place: str) -> str:
        how = self._settings.time_format
        if len(first) > LONGEST:
            raise ImportFileError(f"{place}: {first[:20] + '...'!r} is no time: it has {len(first)} signs.")
        if how is not None:
            return self._stated_kind(how, first, place)
        number = pd.to_numeric(first, errors="coerce")
        if np.isfinite(number):
            if number >= 1e3 * EPOCH_S and self._settings.seconds_per == 1.0:
                raise ImportFileError(
                    f"{place}: time {first} looks like milliseconds since 1970. Say so with --time-unit ms."
                )
            return "epoch" if number * self._settings.seconds_per >= EPOCH_S else "seconds"
        if _CLOCK.fullmatch(first):
            return "elapsed"
        first = self._whole_days(pd.Series([first], dtype=object))[0].iloc[0]
        if not _ISO.fullmatch(first) or pd.isna(
            pd.to_datetime(first.replace(",", "."), format="ISO8601", errors="coerce")
        ):
            raise ImportFileError(f"{place}: time {first!r} is neither a number nor ISO 8601.{_suggestion(first)}")
        self._zoned = bool(_ZONED.search(first[10:]))
        if not self._zoned:
            self._need_zone(f"{place}: time {first!r}")
        return "iso"

    def _need_zone(self, what: str) -> None:
        if self._zone is None and self._local_zone is not None:
            self._zone, self.took_local_zone = _zone(self._local_zone), True
        if self._zone is None:
            raise ImportFileError(
                f"{what} has no time zone. Say which clock it is, such as --zone Europe/Berlin or --zone UTC."
            )

    def _stated_kind(self, how: str, first: str, place: str) -> str:
        within = self._whole_days(pd.Series([first], dtype=object))[0].iloc[0]
        if pd.isna(pd.to_datetime(within, format=how, errors="coerce")):
            raise ImportFileError(f"{place}: time {first!r} does not fit --time-format {how!r}.{_suggestion(first)}")
        if not re.search(r"%[dDjcxyYF]", how):
            return "clock"
        if "%z" not in how:
            self._need_zone(f"--time-format {how!r}")
        return "dated"

    def _past_midnight(self, value_s: FloatArray) -> FloatArray:
        """Add a day each time the clock goes back by more than half a day."""
        before = np.concatenate(([value_s[0] if self._last_s is None else self._last_s], value_s[:-1]))
        days = self._days + np.cumsum(np.nan_to_num(before - value_s, nan=0.0) > DAY_S / 2)
        if value_s.size:
            self._days, self._last_s = int(days[-1]), float(value_s[-1])
        return value_s + DAY_S * days

    def _local(self, wall: pd.Series[Any], lines: npt.NDArray[np.int64], place: str) -> FloatArray:
        """Local times to UTC; in the hour that comes twice the second pass begins where the clock goes back."""
        assert self._zone is not None
        first = wall.dt.tz_localize(self._zone, ambiguous=np.ones(len(wall), bool), nonexistent="NaT")
        second = wall.dt.tz_localize(self._zone, ambiguous=np.zeros(len(wall), bool), nonexistent="NaT")
        lost = first.isna() & wall.notna()
        if lost.any():
            at = int(np.flatnonzero(lost.to_numpy())[0])
            raise ImportFileError(
                f"{place}, line {lines[at]}: the time {wall.iloc[at]} does not exist in {self._zone}: its clocks skip "
                "that hour. If the logger's clock is never changed, give a fixed zone such as --zone +01:00."
            )
        early, late = (_seconds(s.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy()) for s in (first, second))
        twice = (early != late) & ~np.isnan(early)
        if not twice.any():
            self._second_pass = False
            self._last_wall = wall.iloc[-1].to_datetime64() if len(wall) else self._last_wall
            return early
        if self._twice is None:
            at = int(np.flatnonzero(twice)[0])
            self._twice = int(lines[at]), str(wall.iloc[at])
        return self._pick(wall.to_numpy(), early, late, twice)

    def _pick(
        self, wall: npt.NDArray[Any], early: FloatArray, late: FloatArray, twice: npt.NDArray[np.bool_]
    ) -> FloatArray:
        out = early.copy()
        for k in range(wall.size):
            if self._last_wall is not None and wall[k] < self._last_wall:
                self._second_pass = bool(twice[k])
                self._went_back |= self._second_pass
            elif not twice[k]:
                self._second_pass = False
            if self._second_pass:
                out[k] = late[k]
            self._last_wall = wall[k]
        return out


def _seconds(moments: npt.NDArray[Any]) -> FloatArray:
    """Seconds since 1970, NaN for no time."""
    whole = moments.astype("datetime64[us]")
    return np.where(np.isnat(whole), np.nan, whole.astype(np.int64) / 1e6)


def _suggestion(cell: str) -> str:
    """Name the usual formats that this cell fits."""
    fits = []
    for how in USUAL_FORMATS:
        try:
            datetime.strptime(cell, how)
        except ValueError:
            continue
        fits.append(how)
    if not fits:
        return " Say how it is written with --time-format, such as '%d.%m.%Y %H:%M:%S'."
    return " Say how it is written: " + " or ".join(f"--time-format '{how}'" for how in fits) + "."
