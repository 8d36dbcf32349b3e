"""A run as a small picture: the chamber solid, the work dashed; broken where nothing was read. An SVG without numpy."""

from __future__ import annotations

from soakwitness.cli.charts.run_data import DrawnLine, RunLines
from soakwitness.cli.charts.windows_of_lines import part_of

WIDE, HIGH, EDGE, POINTS = 160, 48, 2, 120
LOOKS = ('stroke="#2a86c2" stroke-width="2"', 'stroke="#d9651a" stroke-width="1.8" stroke-dasharray="4 2"')
# which sensor stands for the chamber, and which for the work: the first of these roles
ROLES = (("control", "recording", "survey", "sensor"), ("load",))


def thumbnail_svg(run: RunLines) -> str:
    """Draw a run small; its highest reading touches the upper edge, 0 degC the lower."""
    first = zip((_first(run, roles) for roles in ROLES), LOOKS, strict=True)
    chosen = [(line, look) for line, look in first if line is not None]
    highest = max((value for line, _ in chosen for value in line.line.value), default=1.0)
    paths = "".join(f'<path d="{_path(run, line, max(highest, 1.0))}" {look}/>' for line, look in chosen)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" width="{WIDE}" height="{HIGH}">'
        f'<g fill="none" stroke-linejoin="round">{paths}</g></svg>'
    )


def _first(run: RunLines, roles: tuple[str, ...]) -> DrawnLine | None:
    return next((line for role in roles for line in run.lines if line.role == role), None)


def _path(run: RunLines, line: DrawnLine, highest_c: float) -> str:
    part = part_of(line.line, run.start_s, run.stop_s, most=POINTS)
    long_s = max(run.stop_s - run.start_s, 1.0)
    words, pen_down = [], False
    for t_s, value in zip(part.t_s, part.value, strict=True):
        if value is None:
            pen_down = False
            continue
        x = EDGE + (WIDE - 2 * EDGE) * (t_s - run.start_s) / long_s
        y = HIGH - EDGE - (HIGH - 2 * EDGE) * max(value, 0.0) / highest_c
        words.append(f"{'L' if pen_down else 'M'}{x:.1f} {y:.1f}")
        pen_down = True
    return "".join(words)
