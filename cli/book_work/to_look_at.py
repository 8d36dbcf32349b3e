"""What the worker makes to look at: sheets to print, and the estimate of the blade in its packet for the chart."""

from __future__ import annotations

import tempfile
from array import array
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.firmware_bridge.common.units import Unit, from_celsius

if TYPE_CHECKING:
    from soakwitness.analysis.record.run import FloatArray

MOST_POINTS = 2000


def print_sheet(logbook: Path, *words: str) -> dict[str, Any]:
    """Print what ``soakwitness sheet`` prints for these words, into a file of its own that the caller clears away."""
    from soakwitness.cli.commands.sheet import sheet

    target = Path(tempfile.mkdtemp(prefix="soakwitness-")) / "sheet.pdf"
    try:
        sheet.main([f"--logbook={logbook}", f"--out={target}", *words], standalone_mode=False)
    except BaseException:
        target.unlink(missing_ok=True)
        target.parent.rmdir()
        raise
    return {"file": str(target)}


def packet_estimate(logbook: Path, folder: Path) -> dict[str, Any]:
    """The estimate of the blade in its packet as lines of the chart, in the recipe's unit: best course and range."""
    from soakwitness.cli.charts.run_chart import last_pull_s
    from soakwitness.cli.verdicts.verified import verify_run

    found = verify_run(folder, None, logbook)
    work, pulled_s = found.verification.work, last_pull_s(found.run)
    if work is None or work.source != "packet estimate":
        return {"lines": []}  # a load sensor tells, or each blade has an estimate of its own
    kind = "fitted" if work.fitted else "a model, not measured"
    named = (
        (f"blade in its packet, estimated ({kind})", "estimate", work.best_c),
        ("coldest it may have been", "range", work.low_c),
        ("hottest it may have been", "range", work.high_c),
    )
    end = len(work.t_s) if pulled_s is None else int(work.t_s.searchsorted(pulled_s, side="right"))
    unit = found.recipe.unit
    return {"lines": [_line(name, role, work.t_s[:end], temp_c[:end], unit) for name, role, temp_c in named]}


def _line(name: str, role: str, t_s: FloatArray, temp_c: FloatArray, unit: Unit) -> dict[str, Any]:
    from soakwitness.cli.charts.windows_of_lines import line_of, part_of, usual_gap_s

    times = array("d", t_s.tolist())
    line = line_of(times, array("d", temp_c.tolist()), gap_s=usual_gap_s(times, None))
    part = part_of(line, times[0] if times else 0.0, times[-1] if times else 0.0, most=MOST_POINTS)
    shown = [None if value is None else round(from_celsius(value, unit), 2) for value in part.value]
    return {"name": name, "role": role, "t_s": [round(t, 3) for t in part.t_s], "shown": shown}
