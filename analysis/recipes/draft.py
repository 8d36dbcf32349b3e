"""A draft of a recipe from the figures of a steel: each number with its source, what nobody published left open."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator, Sequence

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.metallurgy.disagreements import disagreements
from soakwitness.analysis.metallurgy.published_treatments import (
    CONFIRM,
    Steel,
    SteelFigure,
    figure_sentence,
    span_words,
)
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_celsius
from soakwitness.firmware_bridge.common.wording import number, temperature

GRADES = ("standard", "standard, re-keyed", "handbook", "dealers agree", "sheet", "trade")  # the best first
OPEN = "?"  # no number is published: a recipe with it does not load until a person has written one
STEP = {"C": 5.0, "F": 10.0}  # a target between two published ends is set to a round number
NEAR_C = 15.0
TOLERANCE = {"C": 6, "F": 10}
WIDTH = 98


class NoDraft(AnalysisError):
    """Nothing is published from which a recipe could be drafted."""


def hardening_draft(steel: Steel, unit: Unit = "C") -> str:
    """Write the text of a hardening recipe.

    ``steel``: its published figures. ``unit``: of the recipe. Returns TOML. Raises NoDraft where no hardening
    temperature is published.
    """
    if not steel.of("harden"):
        raise NoDraft(f"No hardening temperature is known for {steel.name}. Add one: soakwitness steels add --help")
    return "\n".join(
        [*_head(steel, unit, "harden"), *_preheat(steel, unit), *_harden(steel, unit), *_after(steel, unit)]
    )


def temper_draft(steel: Steel, temper_c: float, unit: Unit = "C") -> str:
    """Write the text of a recipe for its tempers.

    ``temper_c``: [degC], one that is published for this steel. ``unit``: of the recipe. Returns TOML. Raises NoDraft
    where none is published near it, with those that are.
    """
    near = [figure for figure in steel.of("temper") if _holds(figure, temper_c)]
    if not near:
        known = ", ".join(dict.fromkeys(span_words(figure, unit) for figure in steel.of("temper"))) or "none"
        asked = temperature(temper_c, unit)
        raise NoDraft(f"No temper near {asked} is published for {steel.name}. Published: {known}.")
    return "\n".join(
        [
            *_head(steel, unit, "temper"),
            "repeat = 2",
            *_said("Two tempers: common practice, no source. Every piece is cold between them."),
            f"cool_below = {number(from_celsius(40.0, unit))}",
            "",
            *_ramp(temper_c, unit),
            "[[step]]",
            f'hold_minutes = "{OPEN}"',
            *_said("No time is kept as a number; some figures below name one. Write yours."),
            f"tolerance = {TOLERANCE[unit]}",
            *_said("No source: what your oven holds at the work, and your steel forgives."),
            *_published(near, unit),
            "",
        ]
    )


def _head(steel: Steel, unit: Unit, what: str) -> Iterator[str]:
    yield from _said(
        f"A draft from what is published for {steel.name}. {CONFIRM} Where a number is {OPEN}, none is published: the "
        "recipe does not load until you have written yours."
    )
    yield f"name = {json.dumps(f'{steel.name}, {what} (draft)', ensure_ascii=False)}"
    yield f'unit = "{unit}"'
    yield f"steel = {json.dumps(steel.name, ensure_ascii=False)}"
    if what == "harden":
        yield 'load = "cold"'
        yield from _said('No source: "cold" where the blades ride the first ramp, else load = "hot" with load_at.')
    yield ""


def _preheat(steel: Steel, unit: Unit) -> Iterator[str]:
    told = steel.of("preheat")
    if not told:
        yield from _said("No preheat is published here. Many equalise below the hardening temperature all the same.")
        yield ""
        return
    yield from _ramp(_target_c(told, unit), unit)
    yield from _published(told, unit)
    yield "[[step]]"
    yield "hold_minutes = 10"
    yield from _said("Until the blade is even: common practice, no source.")
    yield f"tolerance = {2 * TOLERANCE[unit]}"
    yield "judged = false"
    yield ""


def _harden(steel: Steel, unit: Unit) -> Iterator[str]:
    told, soaks = steel.of("harden"), [f for f in steel.all("soak") if f.min_low is not None]
    yield from _ramp(_target_c(told, unit), unit)
    yield from _published(told, unit)
    yield from _said(*(says for says in disagreements(steel, unit) if "hardening" in says))
    yield "[[step]]"
    if soaks:
        best = _best(soaks)
        yield f"hold_minutes = {number(best.min_low or 0.0)}"
        if best.min_high is not None and best.min_high > (best.min_low or 0.0):
            yield f"# at_most_minutes = {number(best.min_high)}"
        yield from _published(soaks, unit)
    else:
        yield f'hold_minutes = "{OPEN}"'
        yield from _said("No soak is published here: ask your supplier.")
    yield f"tolerance = {TOLERANCE[unit]}"
    yield from _said("No source: what your furnace holds at the work, and your steel forgives.")
    yield ""


def _after(steel: Steel, unit: Unit) -> Iterator[str]:
    quench = steel.all("quench")
    if quench:
        yield "[quench]"
        yield f"medium = {json.dumps(_best(quench).note, ensure_ascii=False)}"
        yield from _said("Name the one you use; plates count as air.")
        yield from _published(quench, unit)
        yield ""
    yield from _hardness([f for f in steel.all("as quenched") if f.hrc_low is not None], unit)
    yield from _said("What follows is other runs' and other hands' work:")
    for what in ("Ms", "cold treatment", "stress relief", "temper"):
        yield from _published(steel.all(what), unit)
    yield from _said(*(says for says in disagreements(steel, unit) if "hardening" not in says))
    yield ""


def _hardness(hard: Sequence[SteelFigure], unit: Unit) -> Iterator[str]:
    """Limits where both ends are published; else what is, as words."""
    if not hard:
        return
    limits = [f for f in hard if f.hrc_high is not None and f.hrc_high > (f.hrc_low or 0.0)]
    if limits:
        best = _best(limits)
        yield "[hardness]"
        yield f"as_quenched = [{number(best.hrc_low or 0.0)}, {number(best.hrc_high or 0.0)}]"
    yield from _published(hard, unit)
    yield ""


def _ramp(target_c: float, unit: Unit) -> Iterator[str]:
    yield "[[step]]"
    yield 'ramp = "full power"'
    yield f"to = {number(from_celsius(target_c, unit))}"


def _target_c(figures: Sequence[SteelFigure], unit: Unit) -> float:
    """The middle of what all sources share, else of what the best of them says, as a round number [degC]."""
    spans = [_span(figure) for figure in figures]
    low_c, high_c = max(low for low, _ in spans), min(high for _, high in spans)
    if low_c > high_c:
        low_c, high_c = _span(_best(figures))
    low, high = from_celsius(low_c, unit), from_celsius(high_c, unit)
    middle = (low + high) / 2.0
    rounded = STEP[unit] * round(middle / STEP[unit])
    return to_celsius(rounded if low <= rounded <= high else round(middle), unit)


def _span(figure: SteelFigure) -> tuple[float, float]:
    low_c = figure.low_c or 0.0
    return low_c, low_c if figure.high_c is None else figure.high_c


def _best(figures: Sequence[SteelFigure]) -> SteelFigure:
    """The first figure of the best grade of source; a user's own, which has none, before all."""
    return min(figures, key=lambda f: GRADES.index(f.grade) if f.grade in GRADES else -1)


def _holds(figure: SteelFigure, temp_c: float) -> bool:
    low_c, high_c = _span(figure)
    return low_c - NEAR_C <= temp_c <= high_c + NEAR_C


def _published(figures: Iterable[SteelFigure], unit: Unit) -> Iterator[str]:
    yield from _said(*(figure_sentence(figure, unit) for figure in figures))


def _said(*sentences: str) -> Iterator[str]:
    """Sentences as comments, wrapped."""
    for says in sentences:
        yield from textwrap.wrap(says, WIDTH, initial_indent="# ", subsequent_indent="#   ", break_on_hyphens=False)
