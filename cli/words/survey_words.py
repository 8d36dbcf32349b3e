"""A survey in words: the verdict with its reason, what to do next, each place's readings; the rest where asked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from soakwitness.cli.options.screen import fitted, said_first, screen_width, table
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import difference, duration, listed, moment, number, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.surveying.survey import Survey, SurveyedSensor
    from soakwitness.analysis.calibration.surveying.survey_hold import Strayed

HEADS = {"pass": ("Pass", "green"), "fail": ("Not even enough", "red"), "not proven": ("Not proven", "yellow")}
ACTS = {
    "length": "Survey again with a hold of {length}.",
    "sensors": "Survey again with {sensors} sensors or more.",
    "every sensor": "Mend or change {strayed} and survey again.",
    "never above": "Come up more slowly: it went above the band before it settled.",
}


def survey_lines(found: Survey, unit: Unit, *, furnace: str, run: str, every: bool = False) -> list[str]:
    """Lines for the screen: the verdict, the next act, the places; ``every``: what was asked, rules, other bands."""
    head, colour = HEADS[found.verdict]
    verdict = said_first(f"{head}: {_reason(found, unit)} {next_act(found, unit)}", ":", colour)
    over = f"{duration(found.end_s - found.start_s)} from {moment(found.start_s)} on"
    target = f"{temperature(found.target_c, unit)} ({found.target_from}), band ±{difference(found.band_c, unit)}"
    lines = [
        "",
        f"Survey of {furnace}, run {run}: {target}, {over}.",
        table(_places(found, unit, every), width=screen_width()),
    ]
    lines += [f"{_strayed(one, unit)}." for one in found.strayed]
    for at_s, took_s in found.recovery_s:
        words = "not back in the band" if took_s is None else f"all back in the band after {duration(took_s)}"
        lines.append(f"Door at {moment(at_s)}: {words}.")
    lines += list(_asked(found, unit, every=every))
    if every:
        lines += list(_more(found, unit))
    return [*verdict, *(part for line in lines for part in fitted(line))]


def _reason(found: Survey, unit: Unit) -> str:
    """Why the verdict is what it is."""
    even, asked = found.corrected, f"±{difference(found.band_c, unit)}"
    about = f"within {difference(even.about_target_c, unit)} of {temperature(found.target_c, unit)}"
    decision = found.decision or found.decision_as_read
    if found.verdict == "pass":
        if found.decision is None:
            return f"every place was {about} as read, {asked} asked. How true the sensors read is not known."
        sure = "" if even.with_u_c is None else f", or {difference(even.with_u_c, unit)} with what each may be wrong by"
        return f"every place was {about}{sure}; {asked} asked."
    if found.verdict == "fail":
        return f"{' and '.join(_outside(found, unit))}, {asked} about {temperature(found.target_c, unit)} asked."
    if found.no_survey:
        said = [r.says.text(unit) for r in found.requirements if r.name in found.no_survey]
        return f"no survey, {'; '.join(said)}."
    if decision.verdict != found.verdict:
        said = [r.says.text(unit) for r in found.requirements if r.met is False and r.name in ACTS]
        return f"in the band over the survey period, but not the whole time: {'; '.join(said)}."
    with_u = difference(even.with_u_c, unit)
    return f"every place read {about}, but that may be {with_u} with what each sensor may be wrong by; {asked} asked."


def _outside(found: Survey, unit: Unit) -> Iterator[str]:
    """The hottest and the coldest place, those that left the band."""
    even, band_c = found.corrected, found.band_c
    if even.highest_c > found.target_c + band_c:
        yield f"{even.hottest} reached {temperature(even.highest_c, unit)}"
    if even.lowest_c < found.target_c - band_c:
        yield f"{even.coldest} was down to {temperature(even.lowest_c, unit)}"


def next_act(found: Survey, unit: Unit) -> str:
    """What to do about it."""
    missing = [name for name in ACTS if name in found.not_met]
    if found.verdict == "pass":
        return "Nothing to do."
    if found.verdict == "not proven" and missing:
        return ACTS[missing[0]].format(
            length=duration(60.0 * found.limits.least_minutes),
            sensors=found.limits.least_sensors,
            strayed=listed(dict.fromkeys(one.sensor for one in found.strayed)),
        )
    even = found.corrected
    beside_c = 0.0 if even.with_u_c is None else even.with_u_c - even.about_target_c
    needs_c = even.half_spread_c + max(beside_c, 0.0)
    centring = difference(even.centring_c, unit, signed=True)
    if needs_c <= found.band_c:
        return f"Set the control {centring} and survey again: centred it needs ±{difference(needs_c, unit)}."
    if found.verdict == "not proven" and even.half_spread_c <= found.band_c:
        return f"Calibrate the survey's sensors; the control set {centring} would centre it."
    spread = difference(even.half_spread_c, unit)
    return (
        f"No setting mends that, the places lie ±{spread} apart: keep work away from {even.hottest} and "
        f"{even.coldest}, or look at elements and door there."
    )


def _places(found: Survey, unit: Unit, every: bool) -> list[list[str]]:
    """A line a place, its numbers in the unit that the head names."""
    heads = [f"sensor (°{unit})", "lowest", "highest", "mean", "from target", "±"]
    rows = [[*heads, "way up", "added"] if every else heads]
    for s in found.sensors:
        row = [
            s.name if s.position is None or _same(s) else f"{s.name} ({s.position})",
            number(from_celsius(s.lowest_c, unit)),
            number(from_celsius(s.highest_c, unit)),
            number(from_celsius(s.mean_c, unit)),
            _signed(s.mean_c - found.target_c, unit),
            "?" if s.expanded_c is None else number(from_kelvin(s.expanded_c, unit)),
        ]
        more = [_signed(s.approach_overshoot_c, unit), _signed(s.correction_c, unit)]
        rows.append([*row, *more] if every else row)
    return rows


def _same(sensor: SurveyedSensor) -> bool:
    """Whether a sensor's name is the words of its place."""
    return sensor.name.replace("-", " ").replace("_", " ").lower() == (sensor.position or "").lower()


def _signed(kelvin: float, unit: Unit) -> str:
    return difference(kelvin, unit, signed=True).removesuffix(f" °{unit}")


def _strayed(one: Strayed, unit: Unit) -> str:
    if one.by_c is None:
        gone = "no reading"
    else:
        gone = f"up to {difference(one.by_c, unit, signed=True)} from where it had been among the others"
    times = f"{moment(one.start_s)} to {moment(one.end_s)}"
    return f"{one.sensor}: {gone}, {times}: in the hold, but not in the survey period"


def _asked(found: Survey, unit: Unit, *, every: bool) -> Iterator[str]:
    """What was asked of the survey, a sentence each; those that were met where everything is told."""
    met = {True: "met", False: "not met", None: "not known"}
    for one in found.requirements:
        if every or one.met is not True:
            origin = f" ({one.origin})" if every else ""
            yield f"- {one.name[:1].upper()}{one.name[1:]}, {met[one.met]}: {one.says.text(unit)}{origin}."


def _more(found: Survey, unit: Unit) -> Iterator[str]:
    """Extremes as read and corrected, what would centre it, when it was even, other bands, the rule."""
    for title, even in (("As read", found.as_read), ("Corrected", found.corrected)):
        with_u = "" if even.with_u_c is None else f", ±{difference(even.with_u_c, unit)} with U (k = 2)"
        yield (
            f"{title}: hottest {even.hottest} {temperature(even.highest_c, unit)} at {moment(even.hottest_at_s)}, "
            f"coldest {even.coldest} {temperature(even.lowest_c, unit)} at {moment(even.coldest_at_s)}; fits ±"
            f"{difference(even.half_spread_c, unit)} about its own middle, "
            f"±{difference(even.about_target_c, unit)} about the target{with_u}."
        )
    centring = difference(found.corrected.centring_c, unit, signed=True)
    yield f"Control setting {centring} would centre it on the target."
    if found.uniform is not None:
        yield (
            f"Even after {duration(found.uniform.took_s)}: {found.uniform.first} was in the band at "
            f"{moment(found.uniform.first_s)}, {found.uniform.last} as the last at {moment(found.uniform.last_s)}."
        )
    bands = ", ".join(difference(band, unit) for band in found.limits.classes_c)
    yield f"Bands in common use: ±{bands} ({found.limits.origin})."
    rule = found.decision or found.decision_as_read
    yield f"Decided {'with U' if found.decision else 'as read'}. Rule: {rule.rule} (ILAC-G8:09/2019, JCGM 106:2012)."
