"""The picture of an audit: the run where the cause lies in the furnace, the pieces where it lies after it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Literal

from soakwitness.cli.charts import style
from soakwitness.cli.charts.audit_pieces_chart import draw_pieces
from soakwitness.cli.charts.audit_run_chart import BladeLine, RunPictured, SuspectSoak, draw_run_steps
from soakwitness.cli.words.finding_sentence import finding_sentences
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from soakwitness.analysis.audit.auditing import Audit
    from soakwitness.analysis.evidence.batch_evidence import Evidence
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import WorkTemperature

WIDE = 108
MARKS = {"load": "loaded", "pull": "pulled", "door": "door opened"}
BY_A_MARK_S = 90.0  # a fall so near to a load or a pull is that one's
SIZE = (10.0, 6.6)


def save_audit_chart(
    evidence: Evidence,
    audit: Audit,
    folders: Mapping[str, Path],
    path: Path,
    *,
    unit: Unit = "C",
    work: WorkTemperature | None = None,
) -> bool:
    """Draw an audit as PNG, SVG or PDF. ``folders``: its run's and the good ones'; ``work``: the blade in its run.

    Returns whether there was something to draw.
    """
    with style.own_look():
        figure = audit_figure(evidence, audit, folders, unit=unit, work=work)
        if figure is not None:
            style.save(figure, path)
    return figure is not None


def audit_figure(
    evidence: Evidence, audit: Audit, folders: Mapping[str, Path], *, unit: Unit, work: WorkTemperature | None = None
) -> Figure | None:
    """Figure of what was found; None where neither a run nor a hardness is on record."""
    from matplotlib.figure import Figure

    from soakwitness.analysis.audit.catalogue import NOTHING
    from soakwitness.analysis.audit.pictured import pictured_cause, pieces_pictured, spots_pictured

    cause = pictured_cause(audit)
    pieces = spots_pictured(evidence, cause, audit.run) or pieces_pictured(evidence, cause, audit.run)
    run = None if pieces is not None else run_pictured(evidence, audit, folders, work)
    if run is None and pieces is None:
        pieces = pieces_pictured(evidence, NOTHING, audit.run)
    figure = Figure(figsize=SIZE if run is not None else (SIZE[0], 4.8), layout="constrained")
    if pieces is not None:
        draw_pieces(figure, pieces, unit)
    elif run is not None:
        draw_run_steps(figure, run, unit)
    else:
        return None
    finding, why = finding_sentences(audit, evidence, unit)
    words = "\n".join(fill(part, WIDE) for part in (finding, why) if part)
    figure.suptitle(words, x=0.01, ha="left", fontsize=11)
    return figure


def run_pictured(
    evidence: Evidence, audit: Audit, folders: Mapping[str, Path], work: WorkTemperature | None
) -> RunPictured | None:
    """Read the runs and put together what the picture of the run shows."""
    from soakwitness.analysis.audit.contrasts.aligning import align_steps
    from soakwitness.analysis.condition.measuring import control_trace
    from soakwitness.analysis.record.run import open_run

    figures = evidence.runs.get(audit.run or "")
    if audit.run is None or audit.run not in folders or figures is None:
        return None
    opened = open_run(folders[audit.run])
    suspect = control_trace(opened)
    if suspect is None:
        return None
    traces = {name: control_trace(open_run(folders[name])) for name in audit.good_runs if name in folders}
    good = [
        (trace, evidence.runs[name]) for name, trace in traces.items() if trace is not None and name in evidence.runs
    ]
    bars, good_soak_s = _soaks(evidence, audit)
    marks = tuple((m.t_s, MARKS[m.act]) for m in opened.marks if not m.struck and m.act in MARKS)
    return RunPictured(
        steps=align_steps(suspect, figures, good),
        blade=_blade(opened, work, marks),
        marks=marks,
        falls=tuple(
            (d.start_s, d.start_s + d.seconds)
            for d in figures.dips
            if all(abs(d.start_s - t) > BY_A_MARK_S for t, _ in marks)
        ),
        gaps=(*figures.gaps, *figures.blanks),
        bars=bars,
        good_soak_s=good_soak_s,
        pulls=tuple(m for m in opened.marks if not m.struck and m.act == "pull"),
        suspects=audit.suspects,
    )


def _blade(run: Run, work: WorkTemperature | None, marks: Sequence[tuple[float, str]]) -> BladeLine | None:
    """The blade's temperature while it was in: by a sensor in it, else as it was estimated."""
    load = next((tr for tr in run.traces if tr.role == "load"), None)
    if load is not None:
        line = BladeLine("blade, measured", load.t_s, load.temp_c, load.temp_c, load.temp_c)
    elif work is not None and work.source == "packet estimate":
        words = "blade, estimated" + ("" if work.fitted else " (a model)")
        line = BladeLine(words, work.t_s, work.low_c, work.best_c, work.high_c)
    else:
        return None
    since = min((t for t, word in marks if word == MARKS["load"]), default=-math.inf)
    until = max((t for t, word in marks if word == MARKS["pull"]), default=math.inf)
    inside = (line.t_s >= since) & (line.t_s <= until)
    return BladeLine(line.words, *(part[inside] for part in (line.t_s, line.low_c, line.best_c, line.high_c)))


def _soaks(evidence: Evidence, audit: Audit) -> tuple[tuple[SuspectSoak, ...], float | None]:
    """Soak of each piece of the run, and the good ones' usual one."""
    from statistics import median

    from soakwitness.analysis.audit.pictured import figures_of

    run = evidence.runs[audit.run or ""]
    required = {h.step: h.required_s for h in run.holds}
    bars: list[SuspectSoak] = []
    known: Literal["suspect", "good", "not tested"]
    for piece in (*evidence.suspects, *evidence.siblings):
        figures = figures_of(evidence, piece) if piece.harden == audit.run else None
        if figures is not None and figures.soak_s is not None and figures.step in required:
            known = "suspect" if piece.id in audit.suspects else "good" if piece.id in audit.siblings else "not tested"
            bars.append(SuspectSoak(piece.id, figures.soak_s, required[figures.step], _hardness(piece), known))
    good = [f.soak_s for p in evidence.good if (f := figures_of(evidence, p)) and f.soak_s is not None]
    return tuple(bars), median(good) if good and bars else None


def _hardness(piece: object) -> str:
    from soakwitness.analysis.evidence.hardness_at_stages import stage_value

    quenched, final = (stage_value(piece, s) for s in ("as quenched", "final"))  # type: ignore[arg-type]
    if final is not None:
        return f", {final:.1f} HRC"
    return f", {quenched:.1f} HRC as quenched" if quenched is not None else ""
