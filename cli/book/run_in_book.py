"""One run with all that the log book says of it, for its page."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request

from soakwitness.analysis.record.moments import from_utc_text
from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.charts.run_data import had_words
from soakwitness.cli.words.mark_sentences import mark_origin, mark_sentence
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import duration, moment, temperature
from soakwitness.firmware_bridge.common.zones import zone_on_record
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, is_held
from soakwitness.firmware_bridge.runfolder.reader import read_marks

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.charges import Charged
    from soakwitness.analysis.logbook.dispositions import Disposition
    from soakwitness.analysis.logbook.kept import KeptVerdict
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.analysis.logbook.striking import StruckRun

Answer = Mapping[str, Any]
MOST_BARS = 12


@dataclass(frozen=True)
class RunInBook:
    """A run as the log book has it.

    ``kept`` is the verdict kept last; ``stale``: what it rests on changed since, or there is none yet and could be.
    ``unit`` is the recipe's, ``in_unit`` the verdict with its sentences in it. ``before``: the run before it on this
    furnace by the same recipe. ``on_record``: pieces that are more than a name in its marks.
    """

    entry: RunEntry
    kept: KeptVerdict | None
    stale: bool
    earlier: tuple[KeptVerdict, ...]
    pieces: tuple[Charged, ...]
    decided: tuple[Disposition, ...]
    struck: StruckRun | None
    marks: tuple[Mark, ...]
    before: str | None
    on_record: frozenset[str]
    unit: Unit
    in_unit: Answer | None = None

    @property
    def answer(self) -> Answer:
        """The verdict as ``verify --json`` gives it; empty where none is kept."""
        return self.in_unit or ({} if self.kept is None else self.kept.answer)

    @property
    def shown_in(self) -> Unit:
        """The unit of its sentences: what is kept is in degC until the worker has put it into the recipe's."""
        return self.unit if self.in_unit is not None else "C"


def run_by_id(desk: Desk, run: str) -> RunEntry:
    """A run of the log book by its whole id; what is none is not found."""
    from soakwitness.analysis.logbook.runs import runs_listed

    with desk.open_book() as book:
        found = runs_listed(book, [run])
    if not found:
        raise HTTPException(404)
    return found[0]


def run_in_book(desk: Desk, run: str) -> RunInBook:
    """Gather what a run's page shows; what is no run is not found."""
    from soakwitness.analysis.logbook.charges import pieces_in_run
    from soakwitness.analysis.logbook.dispositions import dispositions_of
    from soakwitness.analysis.logbook.kept import earlier_verdicts, last_verdict
    from soakwitness.analysis.logbook.runs import runs_listed
    from soakwitness.analysis.logbook.striking import struck_runs

    with desk.open_book_in_step() as book:
        found = runs_listed(book, [run])
        if not found:
            raise HTTPException(404)
        (entry,) = found
        kept = last_verdict(book, run)
        pieces = pieces_in_run(book, run)
        return RunInBook(
            entry,
            kept,
            run in to_be_judged(book, [entry]),
            earlier_verdicts(book, run),
            pieces,
            dispositions_of(book, run),
            struck_runs(book).get(run),
            _marks(entry),
            _before(book, entry),
            known_pieces(book, [charged.piece for charged in pieces]),
            unit_of(book, entry),
        )


def is_recorded(entry: RunEntry) -> bool:
    """Whether it is being recorded now."""
    return entry.seal is None and not entry.missing and is_held(entry.folder / RUN_LOCK)


def without_verdict(entry: RunEntry, *, stale: bool) -> str:
    """What is said of a run that no verdict is kept of; that of a ``stale`` one is asked for (``being_judged.js``)."""
    if entry.missing:
        return "Its folder is missing: nothing of it can be looked at."
    if is_recorded(entry):
        return "It is being recorded."
    asked = "It is being compared with its recipe now." if stale else "It could not be compared with its recipe."
    says = asked if entry.recipe_digest is not None else "It carries no recipe: nothing was asked of it."
    return says if entry.seal else f"It was cut off. {says}"


def to_be_judged(book: LogBook, entries: Iterable[RunEntry]) -> frozenset[str]:
    """Those of some runs whose verdict is out of date, or that have none and can have one."""
    from soakwitness.analysis.logbook.kept import stale_runs

    return frozenset(
        stale_runs(book, [one.run for one in entries if one.recipe_digest is not None and not one.missing])
    )


def unit_of(book: LogBook, entry: RunEntry) -> Unit:
    """The unit of the recipe a run is judged by."""
    from soakwitness.analysis.logbook.history import Recipes

    recipe = Recipes(book).of(entry)
    return "C" if recipe is None else recipe.unit


def known_pieces(book: LogBook, names: Iterable[str]) -> frozenset[str]:
    """Those of these names that are pieces on record."""
    from soakwitness.analysis.logbook.pieces import find_piece

    return frozenset(name for name in names if find_piece(book, name) is not None)


def _before(book: LogBook, entry: RunEntry) -> str | None:
    from soakwitness.analysis.logbook.runs import list_runs

    earlier = list_runs(book, furnace=entry.furnace, until_utc=entry.started_utc, newest=20)
    same = [one.run for one in earlier if one.recipe_name == entry.recipe_name]
    return same[-1] if same else None


def _marks(entry: RunEntry) -> tuple[Mark, ...]:
    try:
        return read_marks(entry.folder)
    except (RunFolderError, OSError):
        return ()


# Words of a run


def moment_there(entry: RunEntry, t_s: float = 0.0) -> datetime:
    """A moment of a run [s] in the run's own zone."""
    return (from_utc_text(entry.started_utc) + timedelta(seconds=t_s)).astimezone(zone_on_record(entry.zone))


def begun_words(entry: RunEntry) -> str:
    """When a run began: ``Tuesday 3 March 2026, 08:04``."""
    begun = moment_there(entry)
    return f"{begun:%A} {begun.day} {begun:%B %Y, %H:%M}"


def period_words(entry: RunEntry) -> str:
    """When a run was: ``Tuesday 3 March 2026, 08:04 to 10:01``."""
    if entry.ended_utc is None:
        return begun_words(entry)
    ended = from_utc_text(entry.ended_utc).astimezone(zone_on_record(entry.zone))
    other_day = ended.date() != moment_there(entry).date()
    return f"{begun_words(entry)} to {ended:%A %H:%M}" if other_day else f"{begun_words(entry)} to {ended:%H:%M}"


def clock_s(entry: RunEntry) -> int:
    """The time of day at which a run began [s since midnight there]."""
    begun = moment_there(entry)
    return begun.hour * 3600 + begun.minute * 60 + begun.second


def chart_runs(request: Request, entries: Sequence[RunEntry], *, estimate: bool = False) -> str:
    """What the chart's script is told of the runs that it draws."""
    runs = []
    for entry in entries:
        about = {"src": way(request, "chart_data", run=entry.run), "label": begun_words(entry)}
        runs.append(about | ({"more": way(request, "estimate", run=entry.run)} if estimate else {}))
    return json.dumps(runs)


@dataclass(frozen=True)
class HadBar:
    """How much of a hold's time one piece had, against what was asked. ``share`` is 0 to 1; ``look`` a class."""

    hold: str
    whose: str
    words: str
    share: float
    look: str
    judged: bool


LOOKS = {"pass": "good", "fail": "bad", "not proven": "wait"}


def had_bars(answer: Answer, unit: Unit = "C") -> list[HadBar]:
    """A bar for each piece in each hold, alike ones once; the shortest first."""
    return [bar for step in answer.get("steps", ()) if step.get("kind") == "hold" for bar in _bars(step, unit)]


def _bars(step: Mapping[str, Any], unit: Unit) -> Iterator[HadBar]:
    hold = f"{duration(step['required_s'])} at {temperature(step['target_c'], unit)}"
    whole = [{"piece": None, "soak_s": step.get("soak_s"), "verdict": step.get("verdict")}]
    alike: dict[tuple[str, str], list[str]] = {}
    shares: dict[tuple[str, str], float] = {}
    for piece in step.get("pieces") or whole:
        best = (piece.get("soak_s") or {}).get("best")
        key = (had_words({**step, "soak_s": piece.get("soak_s")}), str(piece.get("verdict")))
        alike.setdefault(key, []).append(piece.get("piece") or piece.get("charge") or "")
        shares[key] = min(1.0, (best or 0.0) / step["required_s"]) if step["required_s"] else 1.0
    for key in sorted(alike, key=lambda one: shares[one])[:MOST_BARS]:
        words, verdict = key
        whose = ", ".join(name for name in alike[key][:6] if name)
        whose += f" and {len(alike[key]) - 6} more" if len(alike[key]) > 6 else ""
        yield HadBar(hold, whose, words, shares[key], LOOKS.get(verdict, "wait"), bool(step.get("judged", True)))


@dataclass(frozen=True)
class LogLine:
    """A sentence with its time, and what else is to be known of it."""

    at: str
    since_start: str
    says: str
    about: str
    goto_s: float
    struck: bool


def log_lines(run: RunInBook) -> list[LogLine]:
    """Marks as sentences, the newest first; struck ones stay readable."""
    return [
        LogLine(
            f"{moment_there(run.entry, mark.t_s):%H:%M:%S}",
            moment(mark.t_s),
            mark_sentence(mark),
            mark_origin(mark),
            mark.t_s,
            mark.struck,
        )
        for mark in sorted(run.marks, key=lambda mark: -mark.t_s)
    ]
