"""Recipes as people write them: TOML text to a checked :class:`Recipe` in degC.

Temperatures are in the file's ``unit``; tolerances, offsets and rates are differences (x 5/9 from degF, never -32).
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from soakwitness.analysis.errors import RecipeError
from soakwitness.analysis.recipes.model import DEFAULT_HOT_S, Hold, PacketSpec, Program, Quench, Ramp, Recipe
from soakwitness.firmware_bridge.common.tables import Table, parse, read_file, shown
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import duration, temperature

# fmt: off
TOP_KEYS = (
    "name", "unit", "steel", "load", "load_at", "repeat", "cool_below", "order", "decide_on", "judge_by",
    "step", "packet", "quench", "program", "hardness",
)
RAMP_KEYS = ("ramp", "to", "min_rate", "max_rate")
HOLD_KEYS = (
    "hold_minutes", "hold_hours", "at_most_minutes", "at_most_hours", "tolerance", "tolerance_below",
    "tolerance_above", "judged", "max_overshoot", "dip_seconds", "hot_seconds", "soak_from", "judge_by",
)
# fmt: on
ORDER_WORDS = ("stress relief", "harden", "cold treatment", "temper")
LONGEST_HOLD_MIN = 10_080.0  # a week
COLDEST_C, HOTTEST_C = -196.0, 1400.0  # liquid nitrogen; tool steels begin to melt below the upper one
FASTEST_C_PER_H = 36_000.0  # 10 degC/s; measured radiant furnaces reach about 5.5
ROOM_C = 20.0
MOST_STEPS = 200
NOWHERE_C = 0.5
DEFAULT_DIP_S = 120.0


def load_recipe(path: str | Path) -> Recipe:
    """Read and check a recipe file.

    Parameters
    ----------
    path : str or pathlib.Path
        The recipe, TOML in UTF-8.

    Returns
    -------
    Recipe
        The recipe, all temperatures in degC.

    Raises
    ------
    RecipeError
        If the file cannot be read, or for the first mistake found: file, step, key, value and what is allowed.
    """
    data, text = read_file(path, RecipeError, kind="a recipe")
    digest, folder = hashlib.sha256(data).hexdigest(), str(Path(path).parent)
    return replace(parse_recipe(text, str(path)), digest=digest, folder=folder)


def parse_recipe(text: str, source: str = "recipe") -> Recipe:
    """Check the text of a recipe and return it in degC.

    Parameters
    ----------
    text : str
        TOML text.
    source : str
        Name shown in error messages, usually the path of the file.

    Returns
    -------
    Recipe
        The recipe with ``repeat`` written out: step numbers go on, ``cycle`` counts from 1.

    Raises
    ------
    RecipeError
        For the first mistake: file, step, key, value and what is allowed.
    """
    top = parse(text, source, RecipeError)
    if not top.values:
        raise RecipeError(f'{source}: the recipe is empty. It needs name, unit ("C" or "F") and [[step]] tables.')
    if top.has("link") or top.has("sensor"):
        raise RecipeError(
            f"{source}: this is a furnace file, no recipe. Check it with: soakwitness furnace check {source}"
        )
    top.check_keys(TOP_KEYS, dict.fromkeys((*RAMP_KEYS, *HOLD_KEYS), "in a [[step]]"))
    name = top.text("name")
    if name is None:
        top.refuse("name", "is missing; every recipe needs a name.")
    unit = top.unit()
    steps = _steps(top, unit, rounds=top.has("cool_below"))
    packet = top.table("packet")
    recipe = Recipe(
        name=name,
        unit=unit,
        steps=steps,
        steel=top.text("steel"),
        packet=_packet(packet),
        measured=packet.text("measured") if packet is not None else None,
        quench=_quench(top.table("quench"), unit),
        program=_program(top.table("program"), unit),
        hardness_as_quenched=_hardness(top.table("hardness"), "as_quenched"),
        hardness_final=_hardness(top.table("hardness"), "final"),
        decide_on=cast(Any, top.choice("decide_on", ("reading", "true temperature"))),
        order=_order(top),
        text=text,
        source=source,
        digest=hashlib.sha256(text.encode()).hexdigest(),
    )
    return _repeated(top, unit, _loaded(top, unit, recipe))


def _loaded(top: Table, unit: Unit, recipe: Recipe) -> Recipe:
    load = top.choice("load", ("cold", "hot"))
    load_at_c = _temperature(top, "load_at", unit)
    if load == "cold" and load_at_c is not None:
        top.refuse("load_at", 'load = "cold" is there too; keep one of the two.')
    if load == "hot" and load_at_c is None:
        top.refuse("load", "say at which furnace temperature: load_at = 780, for instance.")
    if load_at_c is not None and load_at_c > max(step_end_c(step) for step in recipe.steps) + 50.0:
        top.refuse("load_at", "is hotter than every step of the recipe.")
    return replace(recipe, load="cold" if load_at_c is None else "hot", load_at_c=load_at_c)


def step_end_c(step: Ramp | Hold) -> float:
    """Temperature a step ends at [degC]: a ramp's goal, a hold's target."""
    return step.to_c if isinstance(step, Ramp) else step.target_c


def _repeated(top: Table, unit: Unit, recipe: Recipe) -> Recipe:
    repeat = top.whole("repeat", 1, 20, 1)
    cool_below_c = _temperature(top, "cool_below", unit)
    if cool_below_c is not None:
        if not recipe.holds:
            top.refuse("cool_below", "the recipe has no hold to cool from.")
        lowest = min(hold.lower_c for hold in recipe.holds)
        if cool_below_c >= lowest:
            top.refuse("cool_below", f"must be below every hold's band, below {temperature(lowest, unit)}.")
    first, last = recipe.steps[0], recipe.steps[-1]
    if repeat > 1 and cool_below_c is None and abs(step_end_c(last) - step_end_c(first)) < NOWHERE_C:
        top.refuse("repeat", "the next round would go nowhere; say how cold it gets between: cool_below = 50.")
    count = len(recipe.steps)
    steps = tuple(
        replace(step, number=step.number + turn * count, cycle=step.cycle + turn * last.cycle)
        for turn in range(repeat)
        for step in recipe.steps
    )
    return replace(recipe, steps=steps, repeat=steps[-1].cycle, cool_below_c=cool_below_c)


def _steps(top: Table, unit: Unit, *, rounds: bool) -> tuple[Ramp | Hold, ...]:
    if not top.values.get("step"):
        top.refuse("step", "a recipe needs steps: tables that begin with a line [[step]], ramps and holds in turn.")
    listed = top.tables("step")
    if len(listed) > MOST_STEPS:
        listed[MOST_STEPS].refuse(None, f"{len(listed)} steps; at most {MOST_STEPS} are allowed.")
    steps: list[Ramp | Hold] = []
    for number, table in enumerate(listed, start=1):
        at_c = step_end_c(steps[-1]) if steps else None
        if table.has("ramp") or table.has("to"):
            ramp = _ramp(table, number, at_c, unit, rounds=rounds)
            new_round = at_c is not None and abs(ramp.to_c - at_c) < NOWHERE_C
            steps.append(replace(ramp, cycle=(steps[-1].cycle if steps else 1) + new_round))
        else:
            previous = steps[-1] if steps else None
            steps.append(_hold(table, number, previous, unit, top.choice("judge_by", ("reading", "mean"))))
    return tuple(steps)


def _elsewhere(kind: Sequence[str], other: str) -> dict[str, str]:
    words = {key: "at the top of the file, before the first [[step]]" for key in TOP_KEYS if key != "step"}
    return words | dict.fromkeys(kind, f"in a step of its own: {other}")


def _ramp(table: Table, number: int, at_c: float | None, unit: Unit, *, rounds: bool) -> Ramp:
    """Read a ramp; ``rounds``: pieces cool in between, so a ramp back to the same temperature goes somewhere."""
    table.check_keys(RAMP_KEYS, _elsewhere(HOLD_KEYS, "a hold"))
    for key in ("ramp", "to"):
        if not table.has(key):
            table.refuse(key, 'is missing; a ramp has ramp = "full power" or degrees per hour, and to = temperature.')
    to_c = _temperature(table, "to", unit)
    assert to_c is not None
    if at_c is not None and abs(to_c - at_c) < NOWHERE_C and not rounds:
        hint = "If pieces cool between two rounds, say cool_below = 50 at the top."
        table.refuse("to", f"the step goes nowhere: it is at {temperature(at_c, unit)} already. {hint}")
    if at_c is None and abs(to_c - ROOM_C) < 10.0:
        table.refuse("to", "the step goes nowhere: that is room temperature.")
    rate = _rate(table, "ramp", unit) if table.values["ramp"] != "full power" else None
    slowest, fastest = _rate(table, "min_rate", unit), _rate(table, "max_rate", unit)
    if slowest is not None and fastest is not None and slowest > fastest:
        table.refuse("min_rate", f"is above max_rate = {shown(table.values['max_rate'])}.")
    if rate is not None and slowest is not None and rate < slowest:
        table.refuse("ramp", f"is below min_rate = {shown(table.values['min_rate'])}.")
    if rate is not None and fastest is not None and rate > fastest:
        table.refuse("ramp", f"is above max_rate = {shown(table.values['max_rate'])}.")
    return Ramp(number, to_c, rate, slowest, fastest)


def _rate(table: Table, key: str, unit: Unit) -> float | None:
    value = table.values.get(key)
    low, high = from_kelvin(1.0, unit), from_kelvin(FASTEST_C_PER_H, unit)
    if key == "ramp" and (isinstance(value, bool) or not isinstance(value, (int, float))):
        table.refuse(key, 'must be "full power", or a rate in degrees per hour as a number.')
    if isinstance(value, (int, float)) and value < 0:
        table.refuse(key, "a rate is written without a sign; up or down follows from the temperatures.")
    rate = table.number(key, low=low, high=high, unit=f"°{unit}/h")
    return to_kelvin(rate, unit)


def _hold(table: Table, number: int, previous: Ramp | Hold | None, unit: Unit, judge_by: str | None) -> Hold:
    table.check_keys(HOLD_KEYS, _elsewhere(RAMP_KEYS, "a ramp"))
    required_s = _duration(table, "hold")
    if required_s is None:
        table.refuse(
            "hold_minutes",
            'is missing; a step is a ramp (ramp = "full power", to = 780) or a hold (hold_minutes = 10).',
        )
    if not isinstance(previous, Ramp):
        table.refuse(None, "a hold needs a ramp right before it that says to which temperature.")
    at_most_s = _duration(table, "at_most")
    if at_most_s is not None and at_most_s < required_s:
        key = "at_most_minutes" if table.has("at_most_minutes") else "at_most_hours"
        table.refuse(key, f"is shorter than the hold itself ({duration(required_s)}).")
    below_c, above_c = _band(table, unit)
    overshoot = table.number("max_overshoot", low=0.0, high=from_kelvin(200.0, unit), unit=f"°{unit}")
    dip_s = table.number("dip_seconds", DEFAULT_DIP_S, low=0.0, high=86_400.0, unit="seconds")
    hot_s = table.number("hot_seconds", DEFAULT_HOT_S, low=0.0, high=86_400.0, unit="seconds")
    return Hold(
        number=number,
        cycle=previous.cycle,
        target_c=previous.to_c,
        below_c=below_c,
        above_c=above_c,
        required_s=required_s,
        at_most_s=at_most_s,
        judged=table.flag("judged", True),
        max_overshoot_c=to_kelvin(overshoot, unit),
        dip_s=dip_s,
        hot_s=hot_s,
        soak_from=cast(Any, table.choice("soak_from", ("work", "control"), "work")),
        judge_by=cast(Any, table.choice("judge_by", ("reading", "mean")) or judge_by or "reading"),
    )


def _duration(table: Table, stem: str) -> float | None:
    """Read ``<stem>_minutes`` or ``<stem>_hours``; seconds."""
    minutes = table.number(f"{stem}_minutes", low=0.0, high=LONGEST_HOLD_MIN, unit="minutes", above=True)
    hours = table.number(f"{stem}_hours", low=0.0, high=LONGEST_HOLD_MIN / 60.0, unit="hours", above=True)
    if minutes is not None and hours is not None:
        table.refuse(f"{stem}_hours", f"{stem}_minutes is there too; keep one of the two.")
    return minutes * 60.0 if minutes is not None else None if hours is None else hours * 3600.0


def _band(table: Table, unit: Unit) -> tuple[float, float]:
    most = from_kelvin(150.0, unit)
    both, below, above = (
        table.number(key, low=0.0, high=most, unit=f"°{unit}", above=True)
        for key in ("tolerance", "tolerance_below", "tolerance_above")
    )
    if both is not None and below is not None and above is not None:
        table.refuse("tolerance", "tolerance_below and tolerance_above are there too; keep tolerance or those two.")
    below, above = (both if below is None else below), (both if above is None else above)
    if below is None or above is None:
        missing = "tolerance" if below is None and above is None else "tolerance_below" if below is None else ""
        table.refuse(
            missing or "tolerance_above",
            "is missing; a hold needs its band: tolerance = 8, or tolerance_below and tolerance_above.",
        )
    return to_kelvin(below, unit), to_kelvin(above, unit)


def _temperature(table: Table, key: str, unit: Unit) -> float | None:
    low, high = (round(from_celsius(edge, unit)) for edge in (COLDEST_C, HOTTEST_C))
    hint = _fahrenheit_hint(table.value(key)) if unit == "C" else ""
    return to_celsius(table.number(key, low=low, high=high, unit=f"°{unit}", more=hint), unit)


def _fahrenheit_hint(value: object) -> str:
    """What to do about a number that is too hot in degC and possible in degF."""
    if not isinstance(value, (int, float)) or not HOTTEST_C < value <= from_celsius(HOTTEST_C, "F"):
        return ""
    read = temperature(to_celsius(float(value), "F"), "C")
    return f' If it is meant in Fahrenheit ({value:g} °F is {read}), write unit = "F" at the top.'


def _packet(table: Table | None) -> PacketSpec | None:
    if table is None:
        return None
    table.check_keys(("thickness_mm", "foil", "heated_faces", "blades", "foil_mm", "measured"))
    usual = PacketSpec()
    return PacketSpec(
        thickness_mm=table.number("thickness_mm", usual.thickness_mm, low=0.0, high=100.0, unit="mm", above=True),
        foil=table.flag("foil", usual.foil),
        heated_faces=table.whole("heated_faces", 1, 2, usual.heated_faces),
        blades=table.whole("blades", 1, 100, usual.blades),
        foil_mm=table.number("foil_mm", usual.foil_mm, low=0.0, high=1.0, unit="mm", above=True),
    )


def _quench(table: Table | None, unit: Unit) -> Quench | None:
    if table is None:
        return None
    table.check_keys(("medium", "within_s", "cool_from", "cool_to", "cool_within_s"))
    cool_from_c, cool_to_c = _temperature(table, "cool_from", unit), _temperature(table, "cool_to", unit)
    cool_within_s = table.number("cool_within_s", low=0.0, high=86_400.0, unit="seconds", above=True)
    given = [value is not None for value in (cool_from_c, cool_to_c, cool_within_s)]
    if any(given) and not all(given):
        missing = ("cool_from", "cool_to", "cool_within_s")[given.index(False)]
        table.refuse(missing, "is missing; a cooling time needs cool_from, cool_to and cool_within_s.")
    if cool_from_c is not None and cool_to_c is not None and cool_to_c >= cool_from_c:
        table.refuse("cool_to", f"must be below cool_from = {shown(table.values['cool_from'])}.")
    within_s = table.number("within_s", low=0.0, high=86_400.0, unit="seconds", above=True)
    return Quench(table.text("medium") or "plates", within_s, cool_from_c, cool_to_c, cool_within_s)


def _program(table: Table | None, unit: Unit) -> Program:
    if table is None:
        return Program()
    table.check_keys(("offset", "extra_minutes"))
    most = from_kelvin(100.0, unit)
    offset = table.number("offset", 0.0, low=-most, high=most, unit=f"°{unit}")
    extra = table.number("extra_minutes", 0.0, low=0.0, high=LONGEST_HOLD_MIN, unit="minutes")
    return Program(to_kelvin(offset, unit), extra * 60.0)


def _hardness(table: Table | None, key: str) -> tuple[float, float] | None:
    if table is None:
        return None
    table.check_keys(("as_quenched", "final"))
    value = table.values.get(key)
    if value is None:
        return None
    numbers = isinstance(value, list) and len(value) == 2 and all(type(item) in (int, float) for item in value)
    if not numbers or not 0.0 < value[0] <= value[1] <= 72.0:
        table.refuse(key, "must be [lowest, highest] in HRC, such as [58, 61], at most 72.")
    return float(value[0]), float(value[1])


def _order(top: Table) -> tuple[str, ...]:
    value = top.values.get("order")
    if value is None:
        return ()
    if not isinstance(value, list) or not value or any(item not in ORDER_WORDS for item in value):
        top.refuse("order", f"must list some of {', '.join(shown(word) for word in ORDER_WORDS)}, in their order.")
    return tuple(value)
