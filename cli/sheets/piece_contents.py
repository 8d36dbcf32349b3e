"""What stands on a blade's page: its whole life, from bar to finish, and what of it is not on record."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.sheets import blocks
from soakwitness.cli.sheets.blocks import Item, Items, Lines, Sheet, SheetTable, Signature
from soakwitness.cli.sheets.contents import run_picture
from soakwitness.cli.sheets.piece_sources import LifeOfPiece, RunOfPiece
from soakwitness.cli.words import cautions, figures
from soakwitness.cli.words.hardness_words import hardness_now, newest, one_reading, spread_words
from soakwitness.cli.words.piece_words import treatment_words
from soakwitness.cli.words.record_words import seal_words
from soakwitness.cli.words.verdict_words import PLACE_WORDS, rule_words, verdict_words
from soakwitness.cli.words.verify_in_short import soak_of
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import duration, listed, temperature
from soakwitness.firmware_bridge.common.zones import computer_zone, zone_or_utc

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.hardness import HardnessEntry
    from soakwitness.analysis.logbook.history import Step
    from soakwitness.analysis.verification.results.verification import Finding, HoldResult

Row = tuple[str, ...]
MOST_STEPS, MOST_TESTS, MOST_FLAGS = 12, 8, 6
LIFE_HEAD = ("when", "what", "asked", "had", "verdict")
HARDNESS_HEAD = ("stage", "place", "readings", "mean", "spread", "test block")


def piece_sheet(found: LifeOfPiece, *, unit: Unit | None = None, shop: tuple[str, ...] = ()) -> Sheet:
    """Put a blade's life into the words of one page; ``unit`` is by default that of the recipe it was hardened by."""
    piece, tests, hardened = found.life.piece, _tests(found), _hardened(found)
    unit = unit or (hardened.recipe.unit if hardened is not None and hardened.recipe is not None else "C")
    zone = zone_or_utc(hardened.run.header.zone) if hardened and hardened.run else computer_zone()
    rows, hard, flags = tuple(_life(found, unit, zone)), tuple(map(_test, tests)), tuple(_flags(found, unit))
    decided = tuple(_decided(found, zone))
    life = SheetTable(f"Its life (times in {zone})", LIFE_HEAD, rows, "Nothing is on record yet.")
    map_ = SheetTable("Hardness", HARDNESS_HEAD, hard, "No hardness test is on record.", spread_words(tests))
    verified = hardened is not None and hardened.verification is not None
    annex = [table for table, most in ((life, MOST_STEPS), (map_, MOST_TESTS)) if len(table.rows) > most]
    further = (Items("Further flags", flags[MOST_FLAGS:]),) if len(flags) > MOST_FLAGS else ()
    return Sheet(
        title=f"Record of blade {piece.id}",
        where=" · ".join((f"Record of blade {piece.id}", *_when(hardened))),
        tag=verdict_words(hardened.verification) if hardened and hardened.verification else "not verified",
        tone=blocks.TONES[hardened.verification.verdict] if hardened and hardened.verification else "",
        sentence=f"{piece.id}: {hardness_now(tests) if tests else 'hardness not on record'}.",
        below=_below(hardened, unit),
        facts=_facts(found),
        blocks=(
            *([_picture(hardened, unit)] if verified and hardened is not None else []),
            _cut(life, MOST_STEPS),
            _cut(map_, MOST_TESTS),
            *_map_of(tests),
            *([Items("Flagged", flags[:MOST_FLAGS], after=_more(len(flags) - MOST_FLAGS))] if flags else []),
            *([Lines("Decided", decided)] if decided else []),
            Lines("Not on record", (_not_on_record(found, hardened),)),
            Lines("", tuple(_small_print(found)), small=True),
            Signature(("Place and date", "Name", "Signature")),
        ),
        foot=cautions.NOT_A_CERTIFICATE,
        shop=shop,
        annex=(*annex, *further),
        flat=True,
    )


def _when(hardened: RunOfPiece | None) -> tuple[str, ...]:
    if hardened is None or hardened.run is None:
        return ()
    header = hardened.run.header
    return (f"hardened {figures.day(header.started_utc, 0.0, header.zone)}, {header.furnace_name}",)


def _more(count: int) -> str:
    return f"{count} more: see the annex." if count > 0 else ""


def _cut(table: SheetTable, most: int) -> SheetTable:
    """A table's newest rows, with how many more the annex has."""
    left = len(table.rows) - most
    after = " ".join(words for words in (_more(left), table.after) if words)
    return SheetTable(table.heading, table.head, table.rows[-most:], table.empty, after)


def _runs(found: LifeOfPiece, kind: str) -> list[RunOfPiece]:
    from soakwitness.analysis.logbook.runs import RunEntry

    return [found.runs[s.source.run] for s in found.life.steps if s.kind == kind and isinstance(s.source, RunEntry)]


def _hardened(found: LifeOfPiece) -> RunOfPiece | None:
    """The run in which it was hardened last."""
    runs = _runs(found, "harden")
    return runs[-1] if runs else None


def _picture(hardened: RunOfPiece, unit: Unit) -> blocks.Chart:
    assert hardened.run is not None
    assert hardened.verification is not None
    assert hardened.recipe is not None
    return run_picture(hardened.run, hardened.verification, hardened.recipe, unit, least_in=1.9, most_in=2.9)


def _map_of(tests: list[HardnessEntry]) -> Iterator[blocks.Chart]:
    """The blade with its newest readings, where their places were told at two places or more."""
    from soakwitness.cli.charts.blade_chart import draw_blade
    from soakwitness.cli.charts.blade_map import blade_svg

    there = [test for test in newest(tests) if test.along_pct is not None]
    if len({(test.along_pct, test.across_pct) for test in there}) > 1:
        yield blocks.Chart(
            lambda figure, box: draw_blade(figure, box, there),
            "the hardness over the blade",
            own_in=1.15,
            svg=lambda: blade_svg(there),
        )


def _below(hardened: RunOfPiece | None, unit: Unit) -> tuple[str, ...]:
    """How it was hardened, in the sentence of its run."""
    if hardened is None or hardened.verification is None:
        return ("Its hardening is not on record here.",)
    short = hardened.verification.in_short
    unknown = "; ".join(part.text(unit) for part in short.not_known)
    return (f"Hardened: {short.says.text(unit)}", *([f"Not known: {unknown}."] if unknown else []))


def _facts(found: LifeOfPiece) -> tuple[tuple[str, str], ...]:
    piece = found.life.piece
    pairs = [
        ("Steel", piece.steel),
        ("Lot", piece.lot),
        ("Thickness", f"{piece.thickness_mm:g} mm" if piece.thickness_mm else None),
        ("Stamp", piece.stamp),
        ("Customer", piece.customer),
        ("Order", piece.order),
        ("Batch", ", ".join(found.life.batches)),
    ]
    return tuple((name, words) for name, words in pairs if words)


def _life(found: LifeOfPiece, unit: Unit, zone: str) -> Iterator[Row]:
    """A row a step, and one for the way from the furnace to the quench."""
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.analysis.logbook.treatments import Treatment

    def same(step: Step) -> object:
        return step.source.run if isinstance(step.source, RunEntry) else id(step)

    for _, group in groupby(found.life.steps, key=same):
        steps = list(group)
        source, kind = steps[0].source, steps[0].kind + (f", {len(steps)} rounds" if len(steps) > 1 else "")
        when = shown_time(steps[0].start_utc, zone)
        if isinstance(source, Treatment):
            yield (when, kind, "", treatment_words(source, unit, zone), "as entered")
        elif isinstance(source, RunEntry):
            yield from _run_rows(when, kind, found.runs[source.run], found.life.piece.id, unit)


def _run_rows(when: str, kind: str, of: RunOfPiece, piece: str, unit: Unit) -> Iterator[Row]:
    if of.verification is None:
        yield (when, kind, "", of.trouble, "not verified")
        return
    holds = [hold for hold in of.verification.holds if hold.judged]
    for hold in holds:
        asked = f"{duration(hold.required_s)} at {temperature(hold.target_c, unit)}"
        yield (when, f"{kind}, step {hold.step}", asked, _had(hold, piece, unit), hold.verdict)
    if not holds:
        yield (when, kind, "", "no hold is judged", of.verification.verdict)
    quench = of.recipe.quench if of.recipe is not None else None
    stay = next((p for hold in reversed(holds) for p in hold.pieces if p.piece == piece), None)
    if kind == "harden" and quench is not None and stay is not None:
        asked = f"to the {quench.medium} within {duration(quench.within_s)}" if quench.within_s else quench.medium
        late = any(_is_of_quench(f, piece) for f in of.verification.findings)
        known = stay.quench_delay_s is not None
        had = f"after {figures.quench_words(stay)}" if known else figures.quench_words(stay)
        cooling = of.verification.quench_cooling_s
        had += f"; cooled in {duration(cooling.best)}" if cooling is not None else ""
        if of.run is not None and stay.pull_s is not None:
            when = figures.clock(of.run.header.started_utc, stay.pull_s, of.run.header.zone)[:16]
        kept = "pass" if known and quench.within_s else "" if known else "not proven"
        yield (when, "quench", asked, had, "fail" if late else kept)


def _is_of_quench(finding: Finding, piece: str) -> bool:
    """Whether a finding says that the quench of this piece failed."""
    own = not finding.pieces or piece in finding.pieces
    return own and finding.severity == "fail" and finding.code in ("late quench", "slow cooling")


def _had(hold: HoldResult, piece: str, unit: Unit) -> str:
    own = next((p for p in hold.pieces if p.piece == piece), None)
    soak, source = (own.soak_s, own.temperature_from) if own is not None else (hold.soak_s, hold.temperature_from)
    if not hold.found or soak is None:
        return "not found" if hold.on_record else "not on record"
    words = f"{soak_of(soak.best, soak.low, soak.high, hold.required_s)}{PLACE_WORDS[source]}"
    if hold.highest_from_target_c is not None:
        words += f"; hottest {temperature(hold.target_c + hold.highest_from_target_c, unit)}"
    return words


def _tests(found: LifeOfPiece) -> list[HardnessEntry]:
    from soakwitness.analysis.logbook.hardness import HardnessEntry

    return [step.source for step in found.life.steps if isinstance(step.source, HardnessEntry)]


def _test(entry: HardnessEntry) -> Row:
    test = entry.test
    readings = "  ".join(one_reading(value, test.scale) for value in test.readings)
    error = test.block_error
    block = "not read" if error is None else f"{error:+.1f} on {test.block_value:g}"
    spread = one_reading(max(test.readings) - min(test.readings), test.scale)
    place = ", ".join(w for w in (entry.spot, entry.ground_off_mm and f"{entry.ground_off_mm:g} mm ground off") if w)
    return (
        entry.stage,
        place or "not stated",
        readings,
        f"{one_reading(test.mean, test.scale)} {test.scale}",
        spread,
        block,
    )


def _flags(found: LifeOfPiece, unit: Unit) -> Iterator[Item]:
    """What failed or warns in its runs and in their order, each once, with what was decided, not why."""
    seen = set()
    for of in found.runs.values():
        for flag in of.verification.findings if of.verification is not None else ():
            decided = [d.decision for d in of.decided if d.finding == flag.code and d.step in (None, flag.step)]
            then = " ".join(f"Decided {words}." for words in decided)
            item = Item(flag.severity, f"{flag.code[:1].upper()}{flag.code[1:]}: {flag.says.text(unit)}", then)
            if flag.severity in ("fail", "warn") and item not in seen:
                seen.add(item)
                yield item
    for gap in found.life.findings:
        if gap.severity != "note":
            yield Item(gap.severity, gap.says)


def _decided(found: LifeOfPiece, zone: str) -> Iterator[str]:
    """What was decided about whole runs that it was in."""
    for of in found.runs.values():
        day = "" if of.run is None else f" of {figures.day(of.run.header.started_utc, 0.0, zone)}"
        yield from (f"The whole run{day}: {d.decision}." for d in of.decided if d.finding is None)


def _not_on_record(found: LifeOfPiece, hardened: RunOfPiece | None) -> str:
    """What nobody entered and no run shows; that is not the same as not done."""
    piece = found.life.piece
    lacking = [
        name
        for name, known in (("steel", piece.steel), ("lot", piece.lot), ("thickness", piece.thickness_mm))
        if not known
    ]
    says = [f"Its {listed(lacking)}."] if lacking else []
    says += ["Its hardening run."] if hardened is None else []
    says += ["Its hardness."] if not _tests(found) else []
    gaps = [gap.says for gap in found.life.findings if gap.severity == "note"]
    if hardened is not None and not any("temper" in word for word in (*gaps, *(s.kind for s in found.life.steps))):
        says.append("Its tempering.")
    says += gaps
    return " ".join(says) or "Nothing that this log book asks for is missing."


def _small_print(found: LifeOfPiece) -> Iterator[str]:
    """What each run's record is worth, and the rule."""
    rules = []
    for name, of in found.runs.items():
        if of.verification is not None:
            yield f"Run {name}: the record is {seal_words(of.verification.record)}. Seal: {of.seal_digest or 'none'}."
            rules.append(rule_words(of.verification))
    yield from (f"Rule: {words}." for words in dict.fromkeys(rules))
