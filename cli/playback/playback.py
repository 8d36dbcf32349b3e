"""A recorded run as a page that plays it: one file, nothing loaded from elsewhere, opens offline."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from soakwitness.firmware_bridge.common.wording import duration, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import HoldResult, Verification

POINTS = 420
BELOW_C = 90.0  # so far below the band the close view begins
AFTER_S = 120.0  # so much of the cooling is played
UNSEEN = "this run has no hold that a load sensor saw"


def playback_html(
    run: Run, verification: Verification, *, piece: str, place: str, links: Sequence[tuple[str, str]]
) -> str:
    """The page: chamber and blade over the hottest hold's band, the soak each had, at the end the sentence.

    ``links`` are words with where they lead; without a target the words are a command. Raises ValueError for a run
    that has no such hold seen by a load sensor.
    """
    from jinja2 import Environment

    seen = [hold for hold in verification.holds if hold.measured_by not in (None, verification.sensor)]
    if not seen:
        raise ValueError(UNSEEN)
    hold = max(seen, key=lambda h: h.target_c)
    text = (files("soakwitness.cli.playback") / "playback.html").read_text(encoding="utf-8")
    return (
        Environment(autoescape=True)
        .from_string(text)
        .render(
            title=verification.recipe,
            place=place,
            piece=piece,
            links=links,
            run=_played(run, verification, hold, piece),
        )
    )


def _played(run: Run, verification: Verification, hold: HoldResult, piece: str) -> dict[str, Any]:
    """What the page's script draws: times [s], temperatures [degC], and the sentence from each moment on."""
    enter_s, leave_s, work_s = hold.control_enter_s, hold.control_leave_s, hold.enter_s
    if enter_s is None or leave_s is None or work_s is None or hold.soak_s is None or hold.measured_by is None:
        raise ValueError(UNSEEN)
    end_s = leave_s + AFTER_S
    had_s = hold.soak_s.best
    short = verification.in_short
    at = temperature(hold.target_c, "C")
    stood = duration(leave_s - enter_s)
    tells = [
        (0.0, f"The furnace climbs. The {piece} in it follows slowly."),
        (enter_s, f"The furnace is at {at}. The controller begins to count."),
        (enter_s + 0.5 * (work_s - enter_s), f"The furnace is at {at}. The {piece} is not."),
        (work_s, f"The {piece} arrives {duration(work_s - enter_s)} after the furnace. Its soak begins now."),
        (leave_s, f"Out. The controller saw {stood} of {duration(hold.required_s)}; nothing looks wrong."),
        (end_s, short.says.text("C")),
    ]
    return {
        "end_s": end_s,
        "most_c": hold.band_c[1] * 1.06,
        "below_c": BELOW_C,
        "band": list(hold.band_c),
        "asked_s": hold.required_s,
        "enter_s": enter_s,
        "leave_s": leave_s,
        "blade_enter_s": work_s,
        "blade_leave_s": work_s + had_s,
        "had_s": had_s,
        "chamber": _points(run, verification.sensor, end_s),
        "blade": _points(run, hold.measured_by, end_s),
        "tells": tells,
        "then": "" if short.next is None else short.next.text("C"),
    }


def _points(run: Run, name: str, end_s: float) -> list[tuple[float, float]]:
    from soakwitness.cli.charts.thinning import thin

    trace = next(t for t in run.traces if t.name == name)
    t_s, temp_c = thin(trace.t_s, trace.temp_c, most=POINTS, gap_s=None)
    pairs = zip(t_s.tolist(), temp_c.tolist(), strict=True)
    return [(round(t, 1), round(c, 1)) for t, c in pairs if t <= end_s and c == c]
