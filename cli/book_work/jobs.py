"""The closed list of what the book can have done."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.common import WrongUse

if TYPE_CHECKING:
    from soakwitness.analysis.record.run import Trace

Progress = Callable[[int, int], None]
WIDE, HIGH, POINTS = 160, 48, 80


def verdict(logbook: Path, progress: Progress, *, run: str) -> dict[str, Any]:
    """Judge a run as ``verify`` does, and keep that as it does; what came of it in short."""
    from soakwitness.cli.verdicts.verified import verify_run

    found = verify_run(_folder(logbook, run), None, logbook)
    unit, short = found.recipe.unit, found.verification.in_short
    return {
        "run": found.verification.run,
        "recipe": found.recipe.name,
        "verdict": found.verification.verdict,
        "says": short.says.text(unit),
        "next": None if short.next is None else short.next.text(unit),
    }


def thumbnail(logbook: Path, progress: Progress, *, run: str) -> dict[str, Any]:
    """Draw a run small, as an SVG: the chamber's sensor solid, the first load sensor dashed."""
    from soakwitness.analysis.record.run import open_run

    opened = open_run(_folder(logbook, run))
    chamber = next((t for role in ("control", "recording", "survey") for t in opened.traces if t.role == role), None)
    load = next((t for t in opened.traces if t.role == "load"), None)
    if chamber is None and load is None and opened.traces:
        chamber = opened.traces[0]
    drawn = [(trace, look) for trace, look in ((chamber, 'stroke="#2a86c2"'), (load, LOAD_LOOK)) if trace is not None]
    most = max((float(m) for trace, _ in drawn if (m := _most(trace)) is not None), default=1.0)
    end_s = max(float(opened.t_s[-1]) if len(opened.t_s) else 1.0, 1.0)
    paths = "".join(f'<path d="{_path(trace, end_s, most)}" {look}/>' for trace, look in drawn)
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" width="{WIDE}" height="{HIGH}">'
    return {"svg": f'{svg}<g fill="none" stroke-width="2" stroke-linejoin="round">{paths}</g></svg>'}


LOAD_LOOK = 'stroke="#d9651a" stroke-dasharray="4 2"'

JOBS: dict[str, Callable[..., dict[str, Any]]] = {"verdict": verdict, "thumbnail": thumbnail}


def _folder(logbook: Path, run: str) -> Path:
    """The folder of a run of this log book, by the folder's name."""
    folder = logbook / "runs" / Path(run).name
    if not run or not (folder / "run.json").is_file():
        raise WrongUse(f"{run}: no such run in {logbook}. List them with: soakwitness runs")
    return folder


def _most(trace: Trace) -> float | None:
    import numpy as np

    known = trace.temp_c[np.isfinite(trace.temp_c)]
    return float(known.max()) if known.size else None


def _path(trace: Trace, end_s: float, most_c: float) -> str:
    """Highest and lowest of each stretch; where nothing was read the line is broken."""
    import numpy as np

    words, pen_down = [], False
    edges = np.linspace(0.0, end_s, POINTS + 1)
    for low_s, high_s in zip(edges[:-1], edges[1:], strict=True):
        there = (trace.t_s >= low_s) & (trace.t_s <= high_s) & np.isfinite(trace.temp_c)
        if not there.any():
            pen_down = False
            continue
        for temp_c in (trace.temp_c[there].min(), trace.temp_c[there].max()):
            x, y = WIDE * (low_s + high_s) / 2 / end_s, HIGH - 2 - (HIGH - 4) * max(0.0, temp_c) / max(most_c, 1.0)
            words.append(f"{'L' if pen_down else 'M'}{x:.1f} {y:.1f}")
            pen_down = True
    return "".join(words)
