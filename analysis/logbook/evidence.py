"""Gathers what an audit looks at: suspects, their siblings in the run, good ones, and the figures of all their runs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.evidence.batch_evidence import (
    AccuracyEvidence,
    CutOutEvidence,
    Evidence,
    PieceEvidence,
)
from soakwitness.analysis.evidence.run_figures import RunFigures
from soakwitness.analysis.logbook.batches import find_batch
from soakwitness.analysis.logbook.charges import pieces_in_run
from soakwitness.analysis.logbook.cutouts import cutout_tests
from soakwitness.analysis.logbook.history import Recipes
from soakwitness.analysis.logbook.kept import kept_condition, kept_figures
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.piece_evidence import PieceReader
from soakwitness.analysis.logbook.pieces import find_piece, pieces_named, spelled_out
from soakwitness.analysis.logbook.run_loads import load_of_run
from soakwitness.analysis.logbook.runs import RunEntry, copied_in, find_run_entry, runs_listed
from soakwitness.analysis.logbook.sensors import accuracy_tests, sensor_life_on
from soakwitness.analysis.logbook.treatments import QUENCHES
from soakwitness.analysis.record.moments import later
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, joined

MOST_GOOD_RUNS = 12
MOST_CANDIDATES = 600
HISTORY = 40


@dataclass
class Chosen:
    """Pieces and runs an audit is about, before their figures are read. ``needed`` lists all runs it looks at.

    ``must_pass``: good runs were chosen without hardness, so that only those count which pass.
    """

    suspects: list[PieceEvidence] = field(default_factory=list)
    siblings: list[PieceEvidence] = field(default_factory=list)
    good: list[PieceEvidence] = field(default_factory=list)
    suspect_runs: list[str] = field(default_factory=list)
    good_runs: list[str] = field(default_factory=list)
    chosen: str = ""
    must_pass: bool = False

    @property
    def needed(self) -> tuple[str, ...]:
        """All runs that are looked at."""
        pieces = (*self.suspects, *self.siblings, *self.good)
        runs = [*self.suspect_runs, *self.good_runs]
        runs += [r for p in pieces for r in (p.harden, *p.tempers) if r is not None]
        return tuple(dict.fromkeys(runs))


def choose(book: LogBook, suspects: Sequence[str], good: Sequence[str] = ()) -> Chosen:
    """Find the pieces and runs that names stand for, and good ones to compare with.

    ``suspects``: runs, pieces, ranges of pieces, or batches. Of a run or a batch those pieces are suspect whose
    hardness is outside the recipe's limits; all of them where no hardness tells. ``good``: likewise; left out, pieces
    of the same recipe and sensor life whose hardness is inside the limits. Returns pieces and runs; call
    ``kept.refresh`` for ``needed``, then ``gather``.

    Raises LogBookError if a name is neither a run, a piece nor a batch.
    """
    reader = _Choosing(book)
    found = Chosen()
    for name in suspects:
        reader.enter_suspects(found, name)
    if not found.suspects and not found.suspect_runs:
        raise LogBookError(
            Says.of("Name what is suspect: runs, pieces or a batch{named}.", named=Field("suspect", around=ASIDE))
        )
    reader.set_apart(found)
    reader.enter_siblings(found)
    if good:
        for name in good:
            reader.enter_good(found, name)
        found.chosen += "The good ones are those that were named."
    else:
        reader.find_good(found)
    return found


def gather(book: LogBook, chosen: Chosen) -> Evidence:
    """Read the figures of everything chosen; runs without kept figures are left out."""
    runs = kept_figures(book, chosen.needed)
    recipes = Recipes(book)
    entries = {entry.run: entry for entry in runs_listed(book, runs)}
    parsed = {run: recipe for run, entry in entries.items() if (recipe := recipes.of(entry)) is not None}
    first = next((entries[r] for r in chosen.suspect_runs if r in entries), None)
    reader = PieceReader(book)
    charges = {run: tuple(reader.piece(c.piece, run=run) for c in pieces_in_run(book, run)) for run in runs}
    loads = {run: load for run in runs if (load := load_of_run(book, run)) is not None}
    complete = [[_quenched(p, runs) for p in part] for part in (chosen.suspects, chosen.siblings, chosen.good)]
    return Evidence(
        suspects=tuple(complete[0]),
        siblings=tuple(complete[1]),
        good=tuple(complete[2]),
        suspect_runs=tuple(chosen.suspect_runs),
        good_runs=tuple(r for r in chosen.good_runs if not chosen.must_pass or r in runs and runs[r].verdict == "pass"),
        runs=runs,
        recipes=parsed,
        condition=kept_condition(book, runs),
        history=_history(book, first) if first else (),
        accuracy=_accuracy(book, first, runs) if first else (),
        chosen=chosen.chosen,
        operators={run: entry.operator for run, entry in entries.items() if entry.operator},
        charge_kg={run: load.kg for run, load in loads.items() if load.kg is not None},
        fixtures={run: load.fixtures for run, load in loads.items() if load.fixtures},
        empty=frozenset(run for run, load in loads.items() if load.empty and not charges[run]),
        charges={run: pieces for run, pieces in charges.items() if pieces},
        cutouts=_cutouts(book, first) if first else (),
    )


def _quenched(piece: PieceEvidence, runs: dict[str, RunFigures]) -> PieceEvidence:
    """Say when a piece was quenched: by its pull mark, else by the treatment entered, else by the end of the run."""
    run = runs.get(piece.harden or "")
    pull = next((f.pull_s for f in run.pieces if f.piece == piece.id and f.pull_s is not None), None) if run else None
    if run is not None and pull is not None:
        return replace(piece, quenched_utc=later(run.started_utc, pull))
    entered = [t.start_utc for t in piece.treatments if t.kind in QUENCHES and not t.not_done]
    return replace(piece, quenched_utc=entered[0] if entered else run.ended_utc if run else None)


def _history(book: LogBook, entry: RunEntry) -> tuple[RunFigures, ...]:
    rows = book.rows(
        "SELECT f.run FROM figures f JOIN standing_runs r ON r.run = f.run WHERE r.furnace = ? AND r.started_utc < ? "
        "ORDER BY r.started_utc DESC LIMIT ?",
        entry.furnace,
        entry.started_utc,
        HISTORY,
    )
    return tuple(reversed(kept_figures(book, [row["run"] for row in rows]).values()))


def _accuracy(book: LogBook, entry: RunEntry, runs: dict[str, RunFigures]) -> tuple[AccuracyEvidence, ...]:
    sensor = runs[entry.run].sensor if entry.run in runs else None
    if sensor is None:
        return ()
    found = []
    for test in accuracy_tests(book, entry.furnace, sensor.name):
        difference = test.result.get("difference_c")
        if isinstance(difference, (int, float)) and test.life == sensor.life:
            found.append(AccuracyEvidence(test.done_on, sensor.name, float(difference)))
    return tuple(found)


def _cutouts(book: LogBook, entry: RunEntry) -> tuple[CutOutEvidence, ...]:
    return tuple(
        CutOutEvidence(t.done_on, t.set_c, t.tripped_c, t.reached_c, t.by_itself, t.run)
        for t in cutout_tests(book, entry.furnace)
    )


def is_off(book: LogBook, piece: str) -> bool:
    """Whether a piece's hardness is outside the limits of its hardening's recipe, or uneven over the blade.

    Returns false too where no hardness or no limits are known.
    """
    reader = PieceReader(book)
    return reader.is_off(reader.piece(piece))


class _Choosing(PieceReader):
    """Finds the pieces and runs that names stand for."""

    def enter_suspects(self, found: Chosen, name: str) -> None:
        batch = find_batch(self._book, name)
        run = None if batch or ".." in name else find_run_entry(self._book, name)
        piece = None if batch or ".." in name else find_piece(self._book, name)
        if batch is not None:
            pieces = [self.piece(p) for p in batch.pieces]
            found.suspects += self.off(pieces) or pieces
        elif piece is not None:
            found.suspects.append(self.piece(piece.id))
        elif run is not None:
            pieces = [self.piece(c.piece, run=run.run) for c in pieces_in_run(self._book, run.run)]
            found.suspects += self.off(pieces) or pieces
            found.suspect_runs.append(run.run)
        else:
            found.suspects += [self.piece(p.id) for p in self._named(name)]
        found.suspect_runs += [p.harden for p in found.suspects if p.harden]
        found.suspect_runs = list(dict.fromkeys(found.suspect_runs))

    def _named(self, name: str) -> list[PieceEvidence]:
        elsewhere = copied_in(self._book, name)
        if ".." not in name or elsewhere:
            lists = {
                "runs": NextCommand.of("runs"),
                "pieces": NextCommand.of("piece", "find"),
                "all": NextCommand.of("batch", "list"),
            }
            look = elsewhere or Says.of("Look with: {runs}, {pieces}, {all}", **lists)
            raise LogBookError(joined([f"{name}: no such run, piece or batch in {self._book.folder}.", look]))
        return [self.piece(p.id) for p in pieces_named(self._book, spelled_out([name]))]

    def set_apart(self, found: Chosen) -> None:
        """Of pieces that were named, those inside the limits are no suspects where others are outside."""
        off = self.off(found.suspects)
        if off and len(off) < len(found.suspects):
            count = len(found.suspects) - len(off)
            found.suspects = off
            found.chosen = f"{count} of the pieces named are as hard as they should be and count as good ones. "

    def enter_siblings(self, found: Chosen) -> None:
        """Other pieces of the suspects' runs, as far as their hardness is not off too."""
        here = {p.id.casefold() for p in found.suspects}
        for run in found.suspect_runs:
            for charged in pieces_in_run(self._book, run):
                piece = self.piece(charged.piece, run=run)
                if piece.id.casefold() not in here and not self.is_off(piece):
                    here.add(piece.id.casefold())
                    found.siblings.append(piece)

    def enter_good(self, found: Chosen, name: str) -> None:
        part = Chosen()
        batch = find_batch(self._book, name)
        run = None if batch or find_piece(self._book, name) or ".." in name else find_run_entry(self._book, name)
        if batch is not None:
            part.good = [p for p in map(self.piece, batch.pieces) if not self.is_off(p)]
        elif run is not None:
            part.good = [
                p
                for p in (self.piece(c.piece, run=run.run) for c in pieces_in_run(self._book, run.run))
                if not self.is_off(p)
            ]
            part.good_runs = [run.run]
        else:
            self.enter_suspects(part, name)
            part.good, part.good_runs = part.suspects, []
        suspect = {p.id for p in found.suspects}
        found.good += [p for p in part.good if p.id not in suspect]
        runs = [*part.good_runs, *(p.harden for p in part.good if p.harden)]
        found.good_runs += [r for r in dict.fromkeys(runs) if r not in found.suspect_runs and r not in found.good_runs]

    def find_good(self, found: Chosen) -> None:
        """Good pieces by the same recipe and sensor life; else by the recipe alone; else runs that passed."""
        entries = runs_listed(self._book, found.suspect_runs)
        if not entries:
            found.chosen += "No run of the suspects is on record, so that nothing good could be found to compare with."
            return
        own = self._life(entries[0])
        for anywhere, same_life, words in (
            (False, True, "recipe and sensor life"),
            (False, False, "recipe, but of another sensor life"),
            (True, False, "recipe, but of another furnace"),
        ):
            runs = self._candidates(entries[0], found, anywhere=anywhere)
            if self._good_pieces(found, (e for e in runs if not same_life or self._life(e) == own)):
                found.chosen += f"The good ones are pieces of the same {words} whose hardness is inside the limits."
                return
        self._passed_runs(entries[0], found, own)

    def _passed_runs(self, first: RunEntry, found: Chosen, own: tuple[object, ...]) -> None:
        """Without any good hardness: runs by the same recipe that passed, of the same sensor life if there are any."""
        near = list(islice(self._candidates(first, found), 5 * MOST_GOOD_RUNS))
        near = [e for e in near if self._life(e) == own] or near
        near = near or list(islice(self._candidates(first, found, anywhere=True), MOST_GOOD_RUNS))
        passed = [e for e in near if e.verdict in (None, "pass")]
        found.good_runs = [e.run for e in passed[:MOST_GOOD_RUNS]]
        found.must_pass = True
        found.chosen += (
            "No good piece's hardness is on record; the good runs are those by the same recipe that passed."
            if passed
            else "No good run by the same recipe is on record."
        )

    def _candidates(self, first: RunEntry, found: Chosen, *, anywhere: bool = False) -> Iterator[RunEntry]:
        """Runs by the same recipe, the nearest in time first; looked up one by one, for few are needed."""
        rows = self._book.rows(
            "SELECT run FROM standing_runs WHERE (? OR furnace = ?) AND missing = 0 AND recipe_digest IS ? "
            "ORDER BY abs(julianday(started_utc) - julianday(?)) LIMIT ?",
            anywhere,
            first.furnace,
            first.recipe_digest,
            first.started_utc,
            MOST_CANDIDATES,
        )
        extra = self._book.rows(
            "SELECT g.run FROM run_recipes g JOIN standing_runs r ON r.run = g.run WHERE g.struck_utc IS NULL "
            "AND g.recipe_digest = ? AND (? OR r.furnace = ?) AND r.missing = 0 LIMIT ?",
            first.recipe_digest,
            anywhere,
            first.furnace,
            MOST_CANDIDATES,
        )
        names = dict.fromkeys(row["run"] for row in (*rows, *extra) if row["run"] not in found.suspect_runs)
        for name in names:
            yield from (e for e in runs_listed(self._book, [name]) if e.recipe_digest == first.recipe_digest)

    def _life(self, entry: RunEntry) -> tuple[object, ...]:
        row = self._book.row(
            "SELECT sensor, serial, channel, position, input_offset FROM run_sensors WHERE run = ? "
            "ORDER BY role = 'control' DESC, role = 'recording' DESC, rowid LIMIT 1",
            entry.run,
        )
        if row is None:
            return ()
        life = sensor_life_on(self._book, entry.furnace, row["sensor"], entry.started_utc)
        return (*tuple(row), life.entry if life else None)

    def _good_pieces(self, found: Chosen, entries: Iterable[RunEntry]) -> bool:
        for entry in entries:
            pieces = [self.piece(c.piece, run=entry.run) for c in pieces_in_run(self._book, entry.run)]
            known = [p for p in pieces if any(h.final or h.as_quenched for h in p.hardness) and p.harden == entry.run]
            if known and not any(self.is_off(p) for p in known):
                found.good += known
                found.good_runs.append(entry.run)
            if len(found.good_runs) >= MOST_GOOD_RUNS:
                break
        return bool(found.good_runs)
