"""Random log books of one run each, with all that a verdict may rest on, and the answers of everyone who judges it.

Not of whether an answer is true: only of whether everyone gives the same.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from click.testing import CliRunner

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import give_recipe, take_in
from soakwitness.analysis.logbook.sensors import add_calibration, fit_sensor, withdraw_calibration
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.packet.packet_file import packet_text
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.analysis.record.moments import Stamp, add_months, local_day
from soakwitness.analysis.verification.results.report import as_json
from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import plain
from soakwitness.cli.sheets.sources import sheet_sources
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from soakwitness.firmware_bridge.runfolder.marks import encode_mark
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

FURNACE = "small furnace"
BY = Stamp("2026-01-01T09:00:00Z", "Ana")
ZONES = (None, "UTC", "Europe/Vienna", "America/New_York", "Pacific/Auckland")
EVERY_S = 10.0
JUDGES = ("verify", "kept", "recompute", "sheet")


@dataclass(frozen=True)
class Drawn:
    """One log book with its run."""

    book: Path
    run: Path
    kinds: tuple[str, ...]


def drawn_book(seed: int, folder: Path, *, measured: bool = True) -> Drawn:
    """Draw a log book; ``measured``: with measured packets."""
    return _Drawing(seed, folder, measured).made()


class _Drawing:
    def __init__(self, seed: int, folder: Path, measured: bool) -> None:
        self.rng = np.random.default_rng([seed, 11])
        self.folder = folder / f"book-{seed}"
        self.folder.mkdir()
        self.kinds: list[str] = []
        self.zone = self.one(ZONES)
        # near midnight somewhere: the day in the run's zone is often not the one in UTC
        hour = int(self.one((0, 1, 4, 10, 11, 12, 13, 22, 23)))
        self.start = datetime(2026, int(self.rng.integers(3, 11)), int(self.rng.integers(1, 28)), hour, 30, tzinfo=UTC)
        self.day = local_day(self.start.isoformat(), self.zone)
        self.hot = self.chance(0.3)
        self.fahrenheit = self.chance(0.3)
        self.wire_in_run = self.chance(0.4)
        self.serial_in_run = self.chance(0.7)
        self.packet = self.one(("none", "log book", "recipe", "run")) if measured else "none"
        self.names = [f"B-{number:03d}" for number in range(1, int(self.rng.integers(1, 4)) + 1)]

    def one(self, of: Any) -> Any:
        return of[int(self.rng.integers(len(of)))]

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def note(self, kind: str) -> None:
        self.kinds.append(kind)

    def made(self) -> Drawn:
        recipe = self.recipe()
        in_run = self.chance(0.7) or self.packet == "run"
        run = self.recorded(recipe if in_run else None)
        with open_logbook(self.folder, create=True) as book:
            take_in(book, stamp=BY)
            if not in_run:
                self.note("recipe only in the log book")
                self.give(book, run.name, recipe)
            self.sensors(book)
            self.pieces(book, run.name)
            if self.packet == "log book":
                self.keep_packet(book)
        return Drawn(self.folder, run, tuple(self.kinds))

    def recipe(self) -> str:
        def temp(value_c: float) -> str:
            return f"{value_c * 1.8 + 32:.0f}" if self.fahrenheit else f"{value_c:.0f}"

        def diff(value_c: float) -> str:
            return f"{value_c * 1.8:g}" if self.fahrenheit else f"{value_c:g}"

        lines = ['name = "Drawn"', f'unit = "{"F" if self.fahrenheit else "C"}"', 'steel = "S44004"']
        lines += ['order = ["harden", "cold treatment", "temper"]'] if self.chance(0.4) else []
        decide = self.one((None, None, "reading", "true temperature"))
        lines += [f'decide_on = "{decide}"'] if decide else []
        lines += [f"load_at = {temp(1030)}" if self.hot else 'load = "cold"']
        if not self.hot:
            lines += ["[[step]]", 'ramp = "full power"', f"to = {temp(780)}"]
            lines += ["[[step]]", "hold_minutes = 5", f"tolerance = {diff(8)}"]
        lines += ["[[step]]", 'ramp = "full power"', f"to = {temp(1040)}", "[[step]]"]
        lines += [f"hold_minutes = {self.one((15, 22, 25, 28))}", f"tolerance = {diff(self.one((5, 6, 8)))}"]
        if self.chance(0.7) or self.packet in ("recipe", "run"):
            lines += ["[packet]", f"thickness_mm = {self.one((2, 3, 5))}"]
            lines += ['measured = "dummy.toml"'] if self.packet in ("recipe", "run") else []
            self.note("packet in the recipe")
        lines += ["[quench]", "within_s = 30"] if self.chance(0.4) else []
        return "\n".join(lines) + "\n"

    def recorded(self, recipe: str | None) -> Path:
        columns = [self.column("chamber", "control")]
        if self.chance(0.25):
            columns.append(self.column("blade", "load"))
            self.note("load sensor")
        about: dict[str, Any] = {}
        if recipe is not None and self.packet in ("recipe", "run"):
            about = {"packet_name": "dummy.toml", "packet_file": self.packet_file()}
        run = RunFolder.create(
            self.folder, columns=columns, furnace_name=FURNACE, started_utc=self.start, zone=self.zone,
            recipe_name="Drawn" if recipe else None, recipe_file=recipe, every_s=EVERY_S, origin="simulated", **about,
        )  # fmt: skip
        off_c = float(self.rng.uniform(-6, 6)) if self.chance(0.5) else 0.0
        stand_s = float(self.one((1200, 1500, 1800, 2400)))
        corners_t = [0, 900, 1300, 1300 + 900, 1300 + 900 + stand_s, 1300 + 900 + stand_s + 1200]
        corners_c = [20, 780, 780, 1040, 1040, 300]
        loaded_s = 1300 + 900 + 300.0 if self.hot else 0.0
        for number in range(int(corners_t[-1] / EVERY_S)):
            t_s = number * EVERY_S
            true_c = float(np.interp(t_s, corners_t, corners_c))
            late_c = float(np.interp(t_s - 180, corners_t, corners_c))
            row = {"chamber": self.shown(true_c + off_c, columns[0])}
            if len(columns) > 1:
                row["blade"] = self.shown(late_c if t_s > loaded_s else 20.0, columns[1])
            run.write_row(t_s, self.start.timestamp() + t_s, row)
        self.mark(run, loaded_s, corners_t[-2])
        end_s = corners_t[-1]
        run.write_event(end_s, self.start.timestamp() + end_s, "end")
        run.seal(sealed_utc=self.start + timedelta(seconds=end_s))
        return run.path

    def column(self, name: str, role: str) -> Column:
        stated = self.chance(0.15)
        unit = "F" if self.fahrenheit and self.chance(0.5) else "C"
        scale = 1.8 if unit == "F" else 1.0
        return Column(
            name,
            "sensor",
            unit,
            role=role,
            thermocouple="K" if self.wire_in_run else None,
            tolerance_class="1" if self.wire_in_run else None,
            resolution=0.1,
            expanded_uncertainty=2.0 * scale if stated else None,
            instrument_uncertainty=0.5 * scale if self.chance(0.3) else None,
            serial=f"{name}-1" if self.serial_in_run else None,
            input_offset=1.0 * scale if self.chance(0.2) else None,
            thickness_mm=3.0 if role == "load" else None,
        )

    def shown(self, temp_c: float, column: Column) -> float:
        seen_c = temp_c + float(self.rng.normal(0, 0.15))
        return round(seen_c * 1.8 + 32 if column.unit == "F" else seen_c, 1)

    def mark(self, run: RunFolder, loaded_s: float, pulled_s: float) -> None:
        how = self.one(("none", "names", "no names"))
        self.note(f"marks: {how}")
        if how == "none":
            return
        names = tuple(self.names) if how == "names" else ()
        if how == "names" and self.chance(0.3):
            names = tuple(name.lower() for name in names)
            self.note("names in small letters")
        acts = [("load", loaded_s)] if self.hot or self.chance(0.5) else []
        for number, (act, t_s) in enumerate([*acts, ("pull", pulled_s), ("plates", pulled_s + 12.0)]):
            detail = encode_mark(Mark(t_s, act, names, mark_id=f"{number:06x}", entered_t_s=t_s))  # type: ignore[arg-type]
            run.write_event(t_s, self.start.timestamp() + t_s, "mark", detail)

    def sensors(self, book: LogBook) -> None:
        """A sensor life and what was calibrated."""
        for sensor in ("chamber", "blade"):
            if self.chance(0.2):
                continue
            other = self.chance(0.15)
            life = fit_sensor(
                book, FURNACE, sensor, fitted_utc="2026-01-10", stamp=BY, serial=f"{sensor}-{2 if other else 1}",
                thermocouple="K" if self.chance(0.6) else None, tolerance_class=self.one((None, "1", "2")),
            )  # fmt: skip
            if self.chance(0.15):  # changed since, shortly before the run or on its day
                life = fit_sensor(
                    book, FURNACE, sensor, fitted_utc=self.one((self.day, "2026-02-20")), stamp=BY,
                    serial=f"{sensor}-1", tolerance_class=self.one((None, "2")),
                )  # fmt: skip
                self.note("another sensor life")
            self.calibrate(book, sensor, life)

    def calibrate(self, book: LogBook, sensor: str, life: int) -> None:
        kind = self.one(("none", "valid", "overdue", "withdrawn", "due that day", "done that day", "later", "low"))
        self.note(f"{sensor} calibration: {kind}")
        if kind == "none":
            return
        day = self.day
        before = (datetime.fromisoformat(day) - timedelta(days=1)).date().isoformat()
        after = (datetime.fromisoformat(day) + timedelta(days=1)).date().isoformat()
        done = {"done that day": day, "later": after}.get(kind, "2026-02-22")
        due = {"overdue": before, "due that day": day}.get(kind, add_months(day, 6))
        readings = [20.0, 400.0] if kind == "low" else [20.0, 1150.0]
        by_c = float(np.round(self.rng.uniform(-5, 5), 1))
        correction = {
            "format": 1, "furnace": FURNACE, "sensor": sensor, "model": "constant", "why": "drawn", "points": [],
            "table": {"reading_c": readings, "correction_c": [by_c, by_c], "expanded_c": [2.2, 2.2]},
            "done_on": done, "due_on": due, "done_by": "Ana",
        }  # fmt: skip
        entry = add_calibration(
            book, life=life, done_on=done, due_on=due, done_by="Ana", correction=correction, stamp=BY
        )
        if kind == "withdrawn":
            withdraw_calibration(book, entry, why="wrong reference", stamp=BY)

    def pieces(self, book: LogBook, run: str) -> None:
        known = [name for name in self.names if self.chance(0.8)]
        if not known:
            return
        add_pieces(
            book, [Piece(n, thickness_mm=self.one((None, 2.0, 3.0, 8.0)), steel="S44004") for n in known], stamp=BY
        )
        for name in known:
            if self.chance(0.7):
                charge_pieces(
                    book, [name], stamp=BY, run=run, number=int(self.rng.integers(1, 3)), place="middle",
                    foil=self.one((None, True, False)), heated_faces=self.one((None, 1, 2)), blades=self.one((None, 2)),
                )  # fmt: skip
        if self.chance(0.3):
            cold = (self.start + timedelta(hours=3)).isoformat()
            add_treatment(book, known[:1], "cold treatment", start_utc=cold, lowest_c=-78.0, stamp=BY)
            self.note("cold treatment")

    def packet_file(self) -> str:
        packet = generic_packet(PacketSpec(thickness_mm=3.0), "S44004")
        spread = tuple(0.3 * s for s in packet.spread)
        fitted = replace(packet, eps_o=float(self.rng.uniform(0.4, 0.8)), spread=spread, fitted=True, fitted_from="x")
        return packet_text(fitted)

    def give(self, book: LogBook, run: str, recipe: str) -> None:
        if self.packet in ("recipe", "run"):
            give_recipe(book, run, "Drawn", recipe, packet=("dummy.toml", self.packet_file()), stamp=BY)
        else:
            give_recipe(book, run, "Drawn", recipe, stamp=BY)

    def keep_packet(self, book: LogBook) -> None:
        from soakwitness.analysis.logbook.packets import keep_measured

        since = self.one(("2026-01-01", self.day, "2026-12-24"))
        keep_measured(book, "dummy.toml", self.packet_file(), since=since, foil=True, stamp=BY)
        self.note(f"packet in the log book, {'later' if since > self.day else 'in force'}")


def answers(drawn: Drawn) -> Mapping[str, Any]:
    """What each of ``JUDGES`` answers of the run, as ``verify --json`` writes it in degC.

    ``kept`` is what ``verify`` left in the log book when it answered in the recipe's own unit.
    """
    said = json.loads(_said(drawn, "verify", str(drawn.run), "--json", "--unit", "C"))
    sheet = as_json(sheet_sources(drawn.run, None, drawn.book, unit="C", customer=None).verification)
    _said(drawn, "verify", str(drawn.run))
    kept = _in_the_book(drawn)
    _said(drawn, "logbook", "recompute", "--everything", "--processes", "1")
    sheet |= {key: said[key] for key in ("packet", "rules") if key in said}  # no part of a sheet's answer
    found = {"verify": said, "kept": kept, "recompute": _in_the_book(drawn), "sheet": plain(sheet)}
    return {name: _rounded(answer) for name, answer in found.items()}


def _in_the_book(drawn: Drawn) -> Any:
    with open_logbook(drawn.book) as book:
        row = book.row("SELECT answer FROM verdicts")
    return None if row is None else json.loads(row["answer"])


def _said(drawn: Drawn, *words: str) -> str:
    env = {"SOAKWITNESS_LOGBOOK": str(drawn.book), "SOAKWITNESS_USER": "Ana"}
    answer = CliRunner().invoke(soakwitness, [*words], env=env)
    assert answer.exception is None or isinstance(answer.exception, SystemExit), answer.exception
    return answer.stdout


def _rounded(value: Any) -> Any:
    """The answer proper: what a command adds beside it is left out, and numbers are rounded as the log book does."""
    if isinstance(value, dict):
        return {key: _rounded(part) for key, part in value.items() if key != "comparison"}
    if isinstance(value, (list, tuple)):
        return [_rounded(part) for part in value]
    return round(value, 3) if isinstance(value, float) else value


def differing(found: Mapping[str, Any]) -> list[str]:
    """Where the judges' answers differ: a key of the answer with what each says."""
    first, *others = JUDGES
    return [
        f"{first} and {other}, {where}: {here!r} and {there!r}"
        for other in others
        for where, here, there in _differences(found[first], found[other], "")
    ]


def _differences(here: Any, there: Any, where: str) -> list[tuple[str, Any, Any]]:
    if isinstance(here, dict) and isinstance(there, dict):
        keys = list(dict.fromkeys((*here, *there)))
        return [d for key in keys for d in _differences(here.get(key), there.get(key), f"{where}.{key}")]
    if isinstance(here, list) and isinstance(there, list) and len(here) == len(there):
        return [
            d for n, (a, b) in enumerate(zip(here, there, strict=True)) for d in _differences(a, b, f"{where}[{n}]")
        ]
    if isinstance(here, float) and isinstance(there, (int, float)) and abs(here - there) < 1.5e-3:
        return []
    return [] if here == there else [(where, here, there)]
