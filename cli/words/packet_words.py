"""What ``packet`` says in words: first how many of the recipe's minutes the packet eats."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from soakwitness.analysis.packet.piece import FIGURE_WORDS
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import (
    Says,
    counted,
    difference,
    duration,
    duration_span,
    moment,
    temperature,
)

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.packets import MeasuredPacket
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.packet.rack import Beside
    from soakwitness.analysis.packet_runs.fitting import Fit
    from soakwitness.analysis.packet_runs.prediction import HoldLag, Prediction

TAILS = {"gap_mm": " mm", "peak_factor": " of EN 1993-1-2"}


def prediction_lines(prediction: Prediction, unit: Unit) -> list[str]:
    """Prediction in words, what matters to the maker first."""
    found = prediction.estimate
    lines = [eaten(prediction.holds)] if prediction.holds else []
    lines.append(f"{piece(found.packet)}, over the sensor {prediction.chamber}, in from {moment(found.load_t_s)} on.")
    for hold in prediction.holds:
        lines.append(f"  {_hold_line(hold, found.load_t_s, unit)}")
    lines.append(f"Hottest estimate {temperature(float(found.best_c.max()), unit)}; Biot number {found.biot:.3f}.")
    lines += [_sentence(says, unit) for says in prediction.says]
    if not found.fitted:
        lines.append("Run one instrumented packet to replace the guess: soakwitness packet fit --help")
    return lines


def beside_line(where: Beside) -> str:
    """Where a packet stood in the rack."""
    rack, others = where.row.rack, len(where.row.filled) - 1
    stands = "on the floor" if rack.stands_on == "floor" else "on a shelf"
    among = f"among {counted(others, 'other')} alike" if others else "alone"
    return f"In slot {where.slot + 1} of {rack.slots}, {rack.spacing_mm:g} mm apart {stands}, {among}."


def eaten(holds: tuple[HoldLag, ...]) -> str:
    """How many of the recipe's minutes the packet eats."""
    parts = [_eaten(hold) for hold in holds if hold.enter_s is not None]
    if not parts:
        return "The run has none of the recipe's holds, so there is nothing the packet could eat of them."
    return f"The packet eats {'; '.join(parts)}."


def _eaten(hold: HoldLag) -> str:
    of = f"of step {hold.step}'s {duration(hold.required_s)}"
    return f"all {of}" if hold.lag.low_s is None else f"{eaten_words(hold)} {of}"


def eaten_words(hold: HoldLag) -> str:
    """How long the packet lags, with bounds: ``11.3 min (likely 5.9 to 33.9 min)``, ``all (likely 9 min to all)``."""
    best_s, low_s, high_s = hold.lag.best_s, hold.lag.low_s, hold.lag.high_s
    assert low_s is not None
    span = f"{duration(low_s)} to all" if high_s is None else duration_span(low_s, high_s)
    return f"{'all' if best_s is None else duration(best_s)} (likely {span})"


def _hold_line(hold: HoldLag, load_s: float, unit: Unit) -> str:
    name = f"Step {hold.step}, {temperature(hold.target_c, unit)}:"
    if hold.enter_s is None:
        return f"{name} not found in this run"
    if hold.lag.best_s is None:
        reach = "the blade never gets into the band by the best estimate"
    else:
        since = "later" if load_s <= hold.enter_s else "after loading"
        reach = f"chamber in band at {moment(hold.enter_s)}, blade {duration(hold.lag.best_s)} {since}"
    never = f"; {hold.lag.never_reached * 100:.0f} % of the estimates never get there" if hold.lag.never_reached else ""
    return f"{name} {reach}{never}"


def piece(packet: PacketModel) -> str:
    """What the piece is, in a few words."""
    blades = (
        f"{packet.blades} blades of {packet.thickness_mm:g} mm"
        if packet.blades > 1
        else f"Blade of {packet.thickness_mm:g} mm"
    )
    foil = "in foil" if packet.foil else "bare"
    faces = "both faces" if packet.heated_faces == 2 else "one face"
    if not packet.fitted:
        return f"{blades} {foil}, heated from {faces}, generic figures"
    fitted_mm = packet.fitted_thickness_mm
    other = f" at {fitted_mm:g} mm" if fitted_mm is not None and fitted_mm != packet.thickness_mm else ""
    return f"{blades} {foil}, heated from {faces}, figures fitted to {packet.fitted_from or 'a run'}{other}"


def fit_lines(fit: Fit, unit: Unit) -> list[str]:
    """Fitted packet in words."""
    lines = [f"{_follows(fit, unit)}.", *_figure_lines(fit.packet, fit.told, unit)]
    lines.append(
        "From run to run it may differ by 15 % in the emissivities and 30 % in the gap: predictions carry that. "
        "Several such runs together measure it."
    )
    lines += [_sentence(says, unit) for says in fit.says]
    return lines


def several_lines(fits: Sequence[Fit], packet: PacketModel, unit: Unit) -> list[str]:
    """Packet fitted to several runs in words."""
    told = tuple({name for fit in fits for name in fit.told})
    lines = [f"{_follows(fit, unit)}." for fit in fits]
    lines += ["All together:", *_figure_lines(packet, told, unit)]
    differs = [
        f"{packet.scatter[number] * 100:.0f} % in the {words}"
        for number, words in enumerate(FIGURE_WORDS.values())
        if packet.scatter[number] > 0.0
    ]
    lines.append(
        f"From run to run it differs by {', '.join(differs)}, as far as {counted(len(fits), 'run')} can tell: "
        "predictions carry that."
    )
    lines += [f"{fit.packet.fitted_from}: {says.text(unit)}." for fit in fits for says in fit.says]
    return lines


def _sentence(says: Says, unit: Unit) -> str:
    text = says.text(unit)
    return f"{text[0].upper()}{text[1:]}."


def _follows(fit: Fit, unit: Unit) -> str:
    return (
        f"Fitted to {fit.packet.fitted_from}: the model follows the load sensor within "
        f"{difference(fit.residual_c, unit)} (root mean square, worst {difference(fit.worst_c, unit)})"
    )


def _figure_lines(packet: PacketModel, told: Sequence[str], unit: Unit) -> Iterator[str]:
    for number, (name, words) in enumerate(FIGURE_WORDS.items()):
        if not packet.foil and name in ("f_i", "gap_mm"):
            continue
        little = "" if name in told else ", hardly told"
        value = f"{getattr(packet, name):.2f}{TAILS.get(name, '')}"
        yield f"  {words}: {value} ± {packet.spread[number] * 100:.0f} %{little}"
    yield f"  load sensor against control sensor: {difference(packet.sensor_offset_c, unit, signed=True)}"
    late = f"{duration(max(packet.sensor_lag_s, 0.0))} ± {duration(packet.sensor_lag_spread_s)}"
    yield f"  control sensor behind what the packet feels: {late}"


def kept_line(kept: MeasuredPacket) -> str:
    """A measured packet of the log book."""
    what = "in foil" if kept.foil else "bare"
    note = f" ({kept.note})" if kept.note else ""
    return f"Packet {kept.entry}  {kept.name}, {what}, counts from {kept.since} on, kept by {kept.entered_by}{note}"
