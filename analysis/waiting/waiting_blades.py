"""Blades that wait: not tempered, cold treatment next, second temper next, no hardness on record."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from soakwitness.analysis.logbook.history import HARDENS_FROM_C, Recipes, run_kinds
from soakwitness.analysis.logbook.lately import Lately, LaterStep
from soakwitness.analysis.logbook.runs import RunEntry
from soakwitness.analysis.logbook.treatments import QUENCHES
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.waits import COLD_WITHIN_S, TEMPER_WITHIN_S
from soakwitness.analysis.record.moments import later, seconds_between
from soakwitness.analysis.waiting.waiting_acts import (
    AskedAbout,
    Concern,
    Urgency,
    WaitingAct,
    began,
    command,
    concerns,
    how_long,
    pieces_said,
    pieces_typed,
)
from soakwitness.firmware_bridge.common.wording import Says, duration, number
from soakwitness.firmware_bridge.marks.charges import Known, PieceStay, drop_unnamed, read_charges
from soakwitness.firmware_bridge.runfolder.names import counting, is_name

PLAIN_ORDER = ("temper",)  # after the hardening, where the recipe states none
FINISHED = ("after second temper", "before grinding", "after grinding", "before finish", "after finish")
TEMPERED = ("after temper", "before second temper")
TOGETHER_S = 1800.0  # blades of one charge, pulled one after the other
GROUND = ("grinding", "finish grinding")  # a blade that was ground after a temper is not asked for another one


@dataclass
class Blade:
    """A blade since its latest hardening; ``piece`` None: what a run held of which nobody said the names.

    ``exact``: a mark or an entry says when it was quenched, else it was at ``quenched_utc`` or before. ``came``: steps
    after it, left out ones too: when each began, which, when it was over (None: it goes on). ``ground``: after a
    temper; ``finished``: by an entry that comes after all steps. ``nameless``: the latest temper of which nobody said
    what was in it.
    """

    piece: str | None
    run: RunEntry
    recipe: Recipe | None
    quenched_utc: str
    exact: bool
    came: list[tuple[str, str, str | None]] = field(default_factory=list)
    ground: bool = False
    finished: bool = False
    nameless: RunEntry | None = None

    @property
    def left(self) -> tuple[str, ...]:
        """The recipe's own order after the hardening without what came; a step before one that came is past."""
        stated = self.recipe.order if self.recipe is not None and self.recipe.order else PLAIN_ORDER
        order = stated[stated.index("harden") + 1 :] if "harden" in stated else stated
        left = [word for word in order if word != "stress relief"]
        for _, word, _ in sorted(self.came, key=lambda step: step[0]):
            if word in left:
                left = left[left.index(word) + 1 :]
        return () if self.finished else tuple(left)

    @property
    def tempered(self) -> bool:
        """Whether anything was said of a temper."""
        return any(word == "temper" for _, word, _ in self.came)

    @property
    def inside(self) -> bool:
        """Whether it is in the furnace for a later step."""
        return bool(self.came) and self.cooled_utc is None

    @property
    def cooled_utc(self) -> str | None:
        """When the latest step was over; None where it goes on, or there was none."""
        return max(self.came, key=lambda step: step[0])[2] if self.came else None

    @property
    def subjects(self) -> tuple[str, ...]:
        """By which names it can be set aside."""
        return (*([] if self.piece is None else [self.piece]), self.run.run, self.run.furnace)

    def comes(self, at_utc: str, words: Sequence[str], *, over_utc: str | None) -> None:
        """Take steps that began at a moment; ``over_utc`` None: they go on."""
        self.came += [(at_utc, word, over_utc) for word in words]


def blades(lately: Lately, recipes: Recipes, recording: frozenset[str]) -> tuple[Blade, ...]:
    """Blades by their latest hardening in these runs, with what came after it. ``recording``: runs that go on."""
    found: dict[str, Blade] = {}
    nameless: list[Blade] = []
    for run in lately.runs:
        if run.run in lately.empty:
            continue
        stays, recipe, going_on = _stays(lately, run), recipes.of(run), run.run in recording
        if hardens(lately, run, recipe):
            hardened = list(_hardened(lately, run, recipe, stays, going_on=going_on))
            nameless += [blade for blade in hardened if blade.piece is None]
            found |= {blade.piece.casefold(): blade for blade in hardened if blade.piece is not None}
        elif tempers := _tempers(lately, run, recipe):
            names = {stay.piece.casefold() for stay in stays if stay.piece is not None}
            for blade in [found[name] for name in names if name in found] if names else nameless:
                over_utc = None if going_on else run.ended_utc or run.started_utc
                blade.comes(run.started_utc, tempers, over_utc=over_utc)
            for blade in [] if names else found.values():
                blade.nameless = run
    for key, blade in found.items():
        for step in lately.steps.get(key, ()):
            _take(blade, step)
    return (*found.values(), *nameless)


def hardens(lately: Lately, run: RunEntry, recipe: Recipe | None) -> bool:
    """Whether what was in a run was quenched from a hardening heat: by its recipe, else by its heat and its marks."""
    marks = [m for m in lately.marks.get(run.run, ()) if not m.struck and m.act in ("pull", "plates", "hand-warm")]
    hottest_c = lately.hottest_c.get(run.run)
    if recipe is None or not recipe.holds:
        return bool(marks) and hottest_c is not None and hottest_c >= HARDENS_FROM_C
    if run_kinds(recipe, hardened=True) != ("harden",) or (hottest_c is not None and hottest_c < HARDENS_FROM_C):
        return False
    return bool(marks) or recipe.quench is not None or "harden" in recipe.order or _quench_entered(lately, run)


def _tempers(lately: Lately, run: RunEntry, recipe: Recipe | None) -> tuple[str, ...]:
    """Tempers that a run of hardened blades is: by its recipe, else one where it did not come to a hardening heat."""
    if recipe is not None and recipe.holds:
        return tuple(word for word in run_kinds(recipe, hardened=True) if word == "temper")
    return ("temper",) if lately.hottest_c.get(run.run, 0.0) < HARDENS_FROM_C else ()


def _quench_entered(lately: Lately, run: RunEntry) -> bool:
    names = lately.charged.get(run.run, ())
    return any(step.what in QUENCHES for name in names for step in lately.steps.get(name.casefold(), ()))


def _stays(lately: Lately, run: RunEntry) -> tuple[PieceStay, ...]:
    known = [Known(piece) for piece in lately.charged.get(run.run, ())]
    return drop_unnamed(read_charges(lately.marks.get(run.run, ()), known=known, cold_since_s=0.0).stays)


def _hardened(
    lately: Lately, run: RunEntry, recipe: Recipe | None, stays: Sequence[PieceStay], *, going_on: bool
) -> Iterator[Blade]:
    """Blades that came out of a run; one that still is in it is not quenched."""
    if run.run in lately.tests and not any(stay.piece for stay in stays):
        return  # a calibration or a survey: nothing says that a blade was in
    last: dict[str | None, PieceStay] = {stay.piece: stay for stay in stays}
    for piece, stay in last.items():
        if piece is not None and piece.casefold() in lately.coupons:
            continue
        pulled = None if stay.pull_s is None else later(run.started_utc, stay.pull_s)
        steps = [] if piece is None else lately.steps.get(piece.casefold(), ())
        entered = [s.at_utc for s in steps if s.what in QUENCHES and not s.not_done and s.at_utc >= run.started_utc]
        at_utc = pulled or (entered[0] if entered else None)
        if at_utc is None and (going_on or run.ended_utc is None):
            continue
        yield Blade(piece, run, recipe, at_utc or run.ended_utc or run.started_utc, at_utc is not None)


def _take(blade: Blade, step: LaterStep) -> None:
    """Take what was entered for a blade after its quench."""
    if step.at_utc < (blade.run.started_utc if step.not_done or not blade.exact else blade.quenched_utc):
        return
    if step.hardness:
        words = _implied(blade, step.what)
        blade.finished |= step.what in FINISHED
        if words:
            blade.comes(step.at_utc, words, over_utc=step.at_utc)
    elif step.what in ("temper", "cold treatment"):
        blade.comes(step.at_utc, (step.what,), over_utc=step.over_utc)
    elif step.what in GROUND:
        blade.ground |= blade.tempered
        blade.finished |= step.what == "finish grinding"


def _implied(blade: Blade, stage: str) -> tuple[str, ...]:
    """Steps that a hardness test says were done, where they are not on record themselves."""
    if stage in TEMPERED and not blade.tempered:
        return ("temper",)
    return ("cold treatment",) if stage == "after cold treatment" and blade.left[:1] == ("cold treatment",) else ()


# Sentences


def waiting_blades(
    found: Sequence[Blade], lately: Lately, asking: AskedAbout, *, asked_since_utc: str
) -> Iterator[WaitingAct]:
    """What blades wait for, those of one run that wait for the same in one sentence."""
    groups: dict[tuple[str, str, str], list[Blade]] = defaultdict(list)
    for blade in found:
        kind = waits_for(blade, asking.now_utc)
        if kind is not None and blade.quenched_utc >= asked_since_utc and asking.wanted(kind, *blade.subjects):
            groups[kind, blade.run.run, blade.left[0]].append(blade)
    for (kind, _, _), group in groups.items():
        first = min(group, key=lambda blade: blade.quenched_utc)
        since_utc = first.cooled_utc if first.tempered and first.cooled_utc else first.quenched_utc
        waited_s = max(seconds_between(since_utc, asking.now_utc), 0.0)
        names = _names(group)
        yield WaitingAct(
            kind=kind,
            urgency=_urgency(kind, first, waited_s),
            says=Says.plain(_sentence(kind, group, waited_s, asking.zone)),
            concerns=(*concerns("piece", names), Concern("run", first.run.run)),
            settle=_settles(kind, names, first.run, lately, *_next_entry(first), *pieces_typed(names)),
            page=_page(names, first.run),
            since_utc=since_utc,
            for_s=waited_s,
        )


def waits_for(blade: Blade, now_utc: str) -> str | None:
    """Which kind of waiting a blade is in: the next step of its recipe's own order; None: nothing."""
    if not blade.left or blade.inside:
        return None
    if blade.tempered:
        return None if blade.ground else "second temper" if blade.left[0] == "temper" else "cold treatment"
    waited_s = seconds_between(blade.quenched_utc, now_utc)
    return "cold treatment" if blade.left[0] == "cold treatment" and waited_s <= TEMPER_WITHIN_S else "temper"


def _urgency(kind: str, first: Blade, waited_s: float) -> Urgency:
    if first.tempered:
        return "soon"
    return "at once" if waited_s > (TEMPER_WITHIN_S if kind == "temper" else COLD_WITHIN_S) else "today"


def _next_entry(first: Blade) -> tuple[str, ...]:
    """The command for the next step: a temper may be in a run already of which nobody said what it held."""
    if first.left[0] == "temper" and first.nameless is not None:
        return ("piece", "charge", first.nameless.run)
    return ("piece", "treatment", first.left[0])


def _sentence(kind: str, group: Sequence[Blade], waited_s: float, zone: str | None) -> str:
    first = min(group, key=lambda blade: blade.quenched_utc)
    names = _names(group)
    who = pieces_said(names) if names else f"What was hardened in {first.run.furnace}, no piece named"
    unsaid = ""
    if names and first.left[0] == "temper" and first.nameless is not None:
        unsaid = f"; the temper of {began(first.nameless, zone)} names no piece"
    if first.tempered:
        tempers = sum(word == "temper" for _, word, _ in first.came)
        word = "cold treatment" if kind == "cold treatment" else "second temper" if tempers == 1 else "next temper"
        return f"{who}: the {word} is not on record; the step before it ended {how_long(waited_s)} ago{unsaid}."
    missing = "no temper on record"
    if first.left[0] == "cold treatment":
        missing = "no cold treatment on record" if kind != "temper" else "neither cold treatment nor temper on record"
    limit_s = TEMPER_WITHIN_S if kind == "temper" else COLD_WITHIN_S
    late = f"; common practice is within {duration(limit_s)}" if waited_s > limit_s else ""
    return f"{who}: {_quenched(group, waited_s)}, {missing}{late}{unsaid}."


def _quenched(group: Sequence[Blade], waited_s: float) -> str:
    """When blades were quenched: of those that were pulled far apart the longest ago."""
    if waited_s < 60.0:
        return "just quenched"
    moments = [blade.quenched_utc for blade in group]
    apart = "up to " if seconds_between(min(moments), max(moments)) > TOGETHER_S else ""
    exact = "" if all(blade.exact for blade in group) else " or longer"
    return f"quenched {apart}{how_long(waited_s)} ago{exact}"


def missing_hardness(
    found: Sequence[Blade], lately: Lately, asking: AskedAbout, *, asked_since_utc: str
) -> Iterator[WaitingAct]:
    """Blades that had all their tempers, of a recipe that states a final hardness, and none is on record.

    A coupon that was measured in the end speaks for the blades of its run.
    """
    groups: dict[str, list[Blade]] = defaultdict(list)
    for blade in found:
        lacks = blade.quenched_utc >= asked_since_utc and _lacks_hardness(blade, lately)
        if lacks and asking.wanted("hardness", *blade.subjects):
            groups[blade.run.run].append(blade)
    for run, group in groups.items():
        names, recipe = _names(group), group[0].recipe
        assert recipe is not None
        assert recipe.hardness_final is not None
        hardness = ("piece", "hardness", names[0], "HRC", "--after", "temper")
        low, high = (number(value) for value in recipe.hardness_final)
        since_utc = min(blade.cooled_utc or blade.quenched_utc for blade in group)
        yield WaitingAct(
            kind="hardness",
            urgency="when it suits",
            says=Says.plain(f"{pieces_said(names)}: no final hardness on record; the recipe has {low} to {high} HRC."),
            concerns=(*concerns("piece", names), Concern("run", run)),
            settle=_settles("hardness", names, group[0].run, lately, *hardness),
            page=_page(names, group[0].run),
            since_utc=since_utc,
            for_s=max(seconds_between(since_utc, asking.now_utc), 0.0),
        )


def _lacks_hardness(blade: Blade, lately: Lately) -> bool:
    if blade.piece is None or blade.recipe is None or blade.recipe.hardness_final is None:
        return False
    if blade.left or blade.inside or not (blade.came or blade.finished):
        return False
    coupons = [name for name in lately.charged.get(blade.run.run, ()) if name.casefold() in lately.coupons]
    return not any(_measured(lately, name, blade.quenched_utc) for name in (blade.piece, *coupons))


def _measured(lately: Lately, piece: str, since_utc: str) -> bool:
    steps = lately.steps.get(piece.casefold(), ())
    return any(step.hardness and step.what in (*TEMPERED, *FINISHED) and step.at_utc >= since_utc for step in steps)


def _names(group: Sequence[Blade]) -> list[str]:
    return sorted((blade.piece for blade in group if blade.piece is not None), key=counting)


def _page(names: Sequence[str], run: RunEntry) -> tuple[str, ...]:
    return ("piece", names[0]) if len(names) == 1 else ("run", run.run)


def _settles(kind: str, names: Sequence[str], run: RunEntry, lately: Lately, *words: str) -> str:
    """The command that enters the next step; pieces that only marks name are entered as pieces first.

    Of a simulated run, and of names that no piece can have, there is nothing to enter.
    """
    new = [name for name in names if name.casefold() not in lately.known]
    if new and run.origin == "simulated":
        return command("runs", run.run, "--strike", "--why", "simulated")
    if not all(is_name(name) for name in new):
        return command("today", run.run, "--not-needed", kind, "--why", "REASON")
    if not names:
        return command("piece", "charge", run.run, "PIECE")
    return command("piece", "add", *pieces_typed(new)) if new else command(*words)
