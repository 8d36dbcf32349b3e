"""The card of a plan: one sentence first, then what belongs to each step of the work, cautions where they are due."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from soakwitness.analysis.planning.cautioning import beside_it, not_both
from soakwitness.analysis.planning.day import Day, day_of, hardens, rounds_of
from soakwitness.analysis.planning.plan import HoldPlan, PieceToPlan, Plan, Span
from soakwitness.analysis.planning.planning import program_of
from soakwitness.cli.options.screen import wrapped
from soakwitness.cli.words import cautions, figures
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import (
    counted,
    duration,
    duration_of,
    duration_range,
    duration_span,
    listed,
    rate,
    temperature,
)

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.program import ProgramStep

INDENT = 10
GENERIC_LAG = "common practice says 5 to 14 min for 3 mm in foil loaded hot"
GLOWING, FOIL, PLATES, BRITTLE = cautions.HARDENING[:4]
ISOLATE = cautions.ISOLATE
OVER_C = 10.0  # over what the recipe allows: something is wrong, not late


@dataclass(frozen=True)
class When:
    """When the furnace is started, and in what zone the card's hours are."""

    starts_utc: str
    zone: str | None

    def hour(self, t_s: float) -> str:
        """Clock time of a moment of the plan [s]."""
        return figures.hour(self.starts_utc, t_s, self.zone)

    def span(self, span: Span) -> str:
        """From the earliest to the latest of a moment."""
        low, high = self.hour(span.low_s), self.hour(span.high_s)
        return low if low == high else f"{low} to {high}"


@dataclass(frozen=True)
class CardPart:
    """What belongs to one step of the work: sentences, and the caution that is due there."""

    heading: str
    says: tuple[str, ...]
    care: str = ""


@dataclass(frozen=True)
class Card:
    """The whole card in words."""

    headline: str
    where: str
    parts: tuple[CardPart, ...]


def card_of(plan: Plan, when: When, unit: Unit, warnings: Sequence[str] = ()) -> Card:
    """The card of a plan; ``warnings`` is what looks unintended in its recipe."""
    parts = [
        CardPart("Ready", (_ready(plan),)),
        CardPart("Blades", tuple(_blades(plan)), FOIL if any(p.packet.foil for p in plan.inputs.pieces) else ""),
        CardPart("Type", tuple(_typed(plan, unit))),
        CardPart("Load", (_load(plan, when, unit),), ISOLATE if plan.load is None else f"{ISOLATE} {GLOWING}"),
        CardPart("Pull", tuple(_take_out(plan, when, unit)), _out_care(plan)),
        *_after(plan, when, unit),
        CardPart("Again", tuple(_again(plan, when, unit))),
        CardPart("Stop if", tuple(_stop(plan, unit))),
        CardPart("Doubts", tuple(warnings)),
        CardPart("Known", tuple(_known(plan, unit))),
    ]
    where = plan.inputs.furnace.name
    steel = f" ({plan.inputs.recipe.steel})" if plan.inputs.recipe.steel else ""
    day = figures.day(when.starts_utc, 0.0, when.zone)
    told = f"{plan.inputs.recipe.name}{steel}{f', on {where}' if where else ''}, {day}."
    return Card(headline(plan, when, unit), told, tuple(part for part in parts if part.says))


def card_lines(card: Card, width: int) -> list[str]:
    """The card for a terminal: headings beside their sentences."""
    lines = [*wrapped(card.headline, width), *wrapped(card.where, width), ""]
    for part in card.parts:
        text = " ".join((*part.says, part.care) if part.care else part.says)
        lines += wrapped(f"{part.heading:<{INDENT}}{text}", width, indent=" " * INDENT)
    return lines


def headline(plan: Plan, when: When, unit: Unit) -> str:
    """What to do in one sentence, and that the soak is not sure where the least and the most cannot both be had."""
    last = plan.last
    torn = min((one for one in last.pieces if not one.both), key=lambda one: one.soak.best_s, default=None)
    doubt = ""
    if torn is not None:
        of_name = f" of {torn.piece.name}" if len(last.pieces) > 1 else ""
        doubt = f" The soak{of_name} is not sure: likely {duration_of(torn.soak.best_s, last.required_s)}."
    load = f"start at {when.hour(0.0)}, loaded cold" if plan.load is None else f"load at {when.hour(plan.load.best_s)}"
    return (
        f"Type {temperature(last.setpoint_c, unit)} and {duration(last.typed_s)}; {load}; take out "
        f"{when.span(plan.out)}.{doubt}"
    )


def _ready(plan: Plan) -> str:
    quench = plan.inputs.recipe.quench
    medium = quench.medium if quench is not None else "plates"
    things = ["gloves, face shield and tongs", "a clear way", "a clock that shows seconds"]
    if hardens(plan.inputs.recipe):
        things.insert(1, f"the {medium} {'cold and clean' if 'plate' in medium else 'ready, a lid beside it'}")
    oven = "the tempering oven is free and " if hardens(plan.inputs.recipe) else ""
    return f"Lay out {listed(things)}; {oven}the recorder runs."


def _blades(plan: Plan) -> Iterator[str]:
    pieces = plan.inputs.pieces
    for about, group in groupby(sorted(pieces, key=_kind), key=_kind):
        alike = list(group)
        slots = [str(one.slot) for one in alike if one.slot is not None]
        where = f", in slot{'s' if len(slots) > 1 else ''} {', '.join(slots)}" if slots else ""
        names = _names(alike)
        yield f"{names[:1].upper()}{names[1:]}: {about}{where}."
    if plan.inputs.rack is not None and any(one.slot is not None for one in pieces):
        mixed = len({one.packet.steel_mm for one in pieces}) > 1
        yield f"Upright in the rack{', thick ones at its ends' if mixed else ''}."


def _kind(piece: PieceToPlan) -> str:
    packet = piece.packet
    blades = "" if packet.blades == 1 else f"{packet.blades} on each other, "
    lies = ", lying on the hearth" if packet.heated_faces == 1 else ""
    return f"{blades}{packet.thickness_mm:g} mm {'in foil' if packet.foil else 'bare'}{lies}"


def _names(pieces: Sequence[PieceToPlan]) -> str:
    names = [one.name for one in pieces]
    return listed(names) if len(names) < 4 else f"{names[0]} to {names[-1]} ({counted(len(names), 'piece')})"


def _typed(plan: Plan, unit: Unit) -> Iterator[str]:
    yield f"{_program(program_of(plan), unit)}."
    yield "The minutes count from when the display is there."
    yield from _sentences(says.text(unit) for says in plan.inputs.sensor_says)
    if not plan.inputs.sensor_says:
        yield "Nothing is known of the sensor's error: these are the recipe's own temperatures."


def _program(steps: Sequence[ProgramStep], unit: Unit) -> str:
    """The program in one sentence."""
    told: list[str] = []
    for step in steps:
        goal = temperature(step.setpoint_c, unit)
        if step.hold_s is not None:
            told.append(f"stay there for {duration(step.hold_s)}" if told else f"stay at {goal}")
        elif step.rate_c_per_h is None:
            told.append(f"go to {goal} as fast as the furnace can")
        else:
            told.append(f"go at {rate(step.rate_c_per_h, unit)} to {goal}")
    text = ", ".join(told)
    return text[:1].upper() + text[1:]


def _load(plan: Plan, when: When, unit: Unit) -> str:
    if plan.load is None:
        return f"Cold, before the start at {when.hour(0.0)}."
    hold = next((one for one in plan.holds if one.loaded), None)
    at = f"about {when.hour(plan.load.best_s)} (expected {when.span(plan.load)})"
    if hold is None:
        recipe = plan.inputs.recipe
        return f"As the display passes {temperature(recipe.load_at_c, unit)}, {at}. Mark the load."
    stood = duration(plan.load.best_s - hold.enter.best_s)
    return f"When it has stood at {temperature(hold.setpoint_c, unit)} for {stood}, {at}. Mark the load."


def _take_out(plan: Plan, when: When, unit: Unit) -> Iterator[str]:
    last = plan.last
    since = f"after the display first shows {temperature(last.shown_c, unit)}"
    if last.loaded:
        since = "after the load"
    if not last.pieces:
        yield f"When the program's {duration(last.typed_s)} are over, expected {when.span(plan.out)}."
        return
    if plan.together:
        yield f"{_window(last, since)}; expected {when.span(plan.out)}."
    else:
        each = [f"{one.piece.name} at {duration(one.out_s)}" for one in sorted(last.pieces, key=lambda p: p.out_s)]
        yield f"One by one {since}: {listed(each, most=12)}."
    yield from _soaks(last)
    yield from _sentences(says.text(unit) for says in not_both(plan))
    if len(plan.order) > 1:
        yield f"Pull in this order: {listed(plan.order, most=12)}."
    quench = plan.inputs.recipe.quench
    if quench is not None and quench.within_s is not None:
        yield f"From pull to {quench.medium} within {duration(quench.within_s)}. Mark pull and {quench.medium}."


def _window(last: HoldPlan, since: str) -> str:
    """From when on, and until when, all pieces may come out where one moment suits them all."""
    out_s = last.pieces[0].out_s
    latest = [one.latest_s for one in last.pieces if one.latest_s is not None]
    by_s = floored(min(latest)) if latest else None
    if by_s is not None and by_s <= out_s:
        return f"At {duration(by_s)} {since}, as the program ends"
    by = "" if by_s is None else f", all out by {duration(by_s)}"
    ends = "as the program ends" if len(last.pieces) == 1 else "while the program still holds"  # for the pulling
    return f"From {duration(out_s)} {since} on, {ends}{by}"


def floored(time_s: float) -> float:
    """Whole minutes, never more [s]."""
    return 60.0 * (time_s // 60.0)


def _soaks(last: HoldPlan) -> Iterator[str]:
    slowest = min(last.pieces, key=lambda one: one.soak.low_s)
    asked = duration(last.required_s)
    if last.at_most_s is not None:
        asked = f"{duration_span(last.required_s, last.at_most_s)}"
    name = f" of {slowest.piece.name}, the slowest," if len(last.pieces) > 1 else ""
    soak = duration_range(slowest.soak.best_s, slowest.soak.low_s, slowest.soak.high_s)
    yield f"The soak{name} is then likely {soak}; asked {asked}."


def _out_care(plan: Plan) -> str:
    if not hardens(plan.inputs.recipe):
        return ""
    return f"{ISOLATE} {GLOWING} {PLATES}" if plan.load is None else f"{ISOLATE} {PLATES}"


def _after(plan: Plan, when: When, unit: Unit) -> Iterator[CardPart]:
    day = day_of(plan)
    if day is None:
        return
    cold = tuple(_treatments(day, "cold treatment", when, unit))
    if cold:
        yield CardPart("Cold", cold, " ".join(cautions.COLD))
    tempers = tuple(_treatments(day, "temper", when, unit))
    if tempers:
        says = listed(day.assumed)
        assumed = f"{says[:1].upper()}{says[1:]}." if says else ""
        yield CardPart("Temper", (*tempers, assumed) if assumed else tempers, f"{BRITTLE} {cautions.TEMPERING[0]}")


def _treatments(day: Day, kind: str, when: When, unit: Unit) -> Iterator[str]:
    for step in day.steps:
        if step.kind != kind:
            continue
        by = "" if step.by_s is None else f", at the latest by {when.hour(step.by_s)}"
        at = "" if step.target_c is None or kind != "temper" else f" at {temperature(step.target_c, unit)}"
        if kind == "cold treatment":
            yield f"Best straight after hand-warm, at about {when.hour(step.begins_s)}{by}."
        elif step.number == 1:
            yield f"Temper 1{at} from about {when.hour(step.begins_s)} to {when.hour(step.ends_s)}{by}."
        else:
            yield f"Temper {step.number} from about {when.hour(step.begins_s)} to {when.hour(step.ends_s)}."


def _again(plan: Plan, when: When, unit: Unit) -> Iterator[str]:
    """The rounds after the first."""
    cold_c = plan.inputs.recipe.cool_below_c
    cold = "" if cold_c is None else f", once every piece is below {temperature(cold_c, unit)} (an hour is assumed)"
    for step in rounds_of(plan):
        yield f"Round {step.number} the same{cold}: from about {when.hour(step.begins_s)} to {when.hour(step.ends_s)}."


def _stop(plan: Plan, unit: Unit) -> Iterator[str]:
    last = plan.last
    recipe_hold = next(hold for hold in plan.inputs.recipe.holds if hold.number == last.step)
    most_c = max(recipe_hold.above_c, recipe_hold.max_overshoot_c or 0.0)
    over_c = last.setpoint_c + most_c + OVER_C
    latest = plan.last.enter.high_s
    yield (
        f"The display goes over {temperature(over_c, unit)}, stands still while it heats, jumps, or the last hold is "
        f"not reached {duration(latest)} after the start."
    )
    yield "Switch off and isolate before tongs or foil come near the elements. The cut-out acts by itself: set it."


def _known(plan: Plan, unit: Unit) -> Iterator[str]:
    inputs, known = plan.inputs, plan.inputs.furnace
    if plan.measured and inputs.packet_from:
        yield f"The lag is measured{_lag(plan)}: {inputs.packet_from}."
    elif plan.last.decides == "blade":
        saved_s = None if plan.saves_s is None else round(plan.saves_s, -1)
        saves = "" if saved_s is None else f" and would save about {duration(saved_s)} of this hold"
        usual = f"; {GENERIC_LAG}" if plan.load is not None and all(p.packet.foil for p in inputs.pieces) else ""
        yield f"The lag is generic{_lag(plan)}{usual}."
        yield f"One instrumented packet tells what it is{saves}: soakwitness packet fit --help."
    learned = inputs.learned
    if learned is not None and inputs.pieces:
        runs = counted(learned.runs, "run")
        use = "used here" if learned.used else "used from five on"
        yield f"In the last {runs} the lag was {100.0 * learned.factor:.0f} % of what was planned: {use}."
    yield {
        "log book": f"Climb and arrival: from {counted(known.runs, 'run')} of this furnace.",
        "by hand": "The climb is what you gave.",
        "generic": "The climb is a guess: name a furnace that has runs, or say where yours is when at full power.",
    }[known.source]
    yield from _sentences(says.text(unit) for says in (*inputs.refused, *beside_it(plan)))


def _lag(plan: Plan) -> str:
    """The slowest blade's lag in the last hold; nothing where the chamber's minutes count."""
    if plan.last.decides != "blade":
        return ""
    lag = max((one.lag for one in plan.last.pieces), key=lambda lag: lag.high_s)
    return f", here {duration_range(lag.best_s, lag.low_s, lag.high_s)}"


def _sentences(texts: Iterator[str]) -> Iterator[str]:
    for text in texts:
        yield f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"


def kept_line(furnace: str, entry: int) -> str:
    """That a plan was kept."""
    return f"Plan {entry} is kept: verify puts the next run of {furnace} by this recipe beside it."
