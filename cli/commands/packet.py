"""``soakwitness packet``: how the blade in its packet follows the furnace."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    Finite,
    SuggestingGroup,
    WrongUse,
    check_output,
    find_run,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import by_option, new_stamp, open_book, take_in_runs
from soakwitness.cli.options.rack import stood_in_slot
from soakwitness.cli.options.screen import say
from soakwitness.cli.verdicts.verified import given_packet, known_inputs, packet_option
from soakwitness.cli.words.packet_words import kept_line
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.packets import MeasuredPacket
    from soakwitness.analysis.packet.packet_file import PacketFile
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.packet.rack import Beside
    from soakwitness.analysis.packet_runs.prediction import Prediction
    from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.run_inputs.known_inputs import RunInputs
    from soakwitness.analysis.run_inputs.measured_packets import UsedPacket

F = TypeVar("F", bound=Callable[..., Any])
USUAL_ROUNDS = 25  # of a fit; the bar ends when it ends


@click.group(cls=SuggestingGroup)
def packet() -> None:
    """Estimate how the blade in its packet followed the furnace.

    It is a model until an instrumented packet was run in your furnace: a blade or a dummy with a thermocouple in it.
    What that run told is kept (keep, list) and used wherever a recipe names no measured packet of its own.

    Example: soakwitness packet predict sample_logs/good
    """


def piece_options(function: F) -> F:
    """Options that say what the piece is."""
    for option in (
        click.option("--steel", help="Open designation: where the transformation is expected."),
        click.option("--foil-mm", type=Finite(0, 1, min_open=True), help="Thickness of the foil in mm."),
        click.option("--blades", type=click.IntRange(1, 100), help="Blades on top of each other in one packet."),
        click.option("--heated-faces", type=click.IntRange(1, 2), help="2 standing in a rack, 1 lying on the hearth."),
        click.option("--no-foil", is_flag=True, help="The blade is bare."),
    ):
        function = option(function)
    return function


def slot_options(function: F) -> F:
    """Options that say where in the rack the packet stood, and what beside it."""
    for option in (
        click.option(
            "--rack",
            "rack_path",
            type=click.Path(path_type=Path),
            metavar="FURNACE.toml",
            help="Furnace file with a [rack]; else the run's own.",
        ),
        click.option("--filled", metavar="SLOTS", help="Slots with packets alike, such as 1-6 or 1,2,5; else all."),
        click.option("--slot", type=click.IntRange(1), help="Slot of the rack in which it stood, from 1 on."),
    ):
        function = option(function)
    return function


@packet.command()
@click.argument("run")
@packet_option
@click.option("--thickness-mm", type=Finite(0, 100, min_open=True), help="Thickness of the blade in mm.")
@click.option("--recipe", "recipe_path", type=click.Path(path_type=Path), help="Recipe file; else the run's own.")
@click.option("--chart", type=click.Path(path_type=Path), help="Draw the estimate as FILE.png, .svg or .pdf.")
@piece_options
@slot_options
@json_option
@unit_option
@logbook_option
@force_option
def predict(
    run: str,
    packet_path: Path | None,
    thickness_mm: float | None,
    recipe_path: Path | None,
    chart: Path | None,
    as_json: bool,
    unit: Unit | None,
    logbook: Path,
    force: bool,
    **given: Any,
) -> None:
    """Say how many of the recipe's minutes the packet eats in RUN, and what the blade's temperature was.

    RUN is a run folder, a run's name or the beginning of it, or "last".

    Example: soakwitness packet predict sample_logs/good --thickness-mm 3
    """
    from soakwitness.analysis.packet_runs.prediction import as_json as as_data
    from soakwitness.analysis.record.run import open_run
    from soakwitness.cli.verdicts.verified import take_in

    if chart is not None:
        check_output(chart, force=force, suffixes=CHART_ENDINGS)
    packet = given_packet(packet_path)
    opened = open_run(find_run(run, logbook))
    take_in(logbook, opened)
    inputs = known_inputs(logbook, opened, recipe_path=recipe_path, packet=packet)
    found, where = _predicted(opened, inputs, logbook, thickness_mm, **given)
    recipe = inputs.recipe
    shown = unit or (recipe.unit if recipe else "C")
    if chart is not None:
        from soakwitness.cli.charts.packet_chart import save_packet_chart

        save_packet_chart(opened, found, recipe, chart, unit=shown)
    if as_json:
        print_json(as_data(found))
    else:
        _tell(found, where, recipe, chart, shown)


def _predicted(
    opened: Run,
    inputs: RunInputs,
    logbook: Path,
    thickness_mm: float | None,
    *,
    slot: int | None,
    filled: str | None,
    rack_path: Path | None,
    **piece: Any,
) -> tuple[Prediction, Beside | None]:
    """What the packet made of the run, and where in the rack it stood."""
    from soakwitness.analysis.packet_runs.prediction import predict as predict_run

    model = _model(inputs, logbook, thickness_mm, **piece)
    where = stood_in_slot([opened], model, slot=slot, filled=filled, rack_path=rack_path)
    found = predict_run(
        inputs.on_record(opened),
        model,
        recipe=inputs.recipe,
        corrections=inputs.corrections,
        places=inputs.places,
        where=where,
    )
    return found, where


def _tell(found: Prediction, where: Beside | None, recipe: Recipe | None, chart: Path | None, unit: Unit) -> None:
    from soakwitness.cli.words.packet_words import beside_line, prediction_lines

    for line in prediction_lines(found, unit):
        say(line)
    if where is not None:
        say(beside_line(where))
    if chart is not None:
        say(f"\nChart: {chart}")
    if recipe is None:
        say("No recipe with this run: name one with --recipe FILE.toml to see what its holds lose.", err=True)


def _model(inputs: RunInputs, logbook: Path, thickness_mm: float | None, **piece: Any) -> PacketModel:
    """The piece as told by options, else by the recipe, else by the packet file given, else 3 mm in foil."""
    from soakwitness.analysis.packet.piece import for_piece, generic_packet, spec_of_packet
    from soakwitness.analysis.recipes.recipe import PacketSpec

    recipe, fitted = inputs.recipe, inputs.model
    base = recipe.packet if recipe is not None and recipe.packet is not None else None
    if base is None and fitted is not None:
        base = spec_of_packet(fitted)
    spec = _spec(base or PacketSpec(), thickness_mm, **piece)
    steel = piece["steel"] or (recipe.steel if recipe is not None else None)
    if inputs.packet is None or (inputs.packet.origin == "log book" and inputs.packet.model.foil != spec.foil):
        newest = _newest(logbook, inputs, foil=spec.foil)
        fitted = None if newest is None else newest.model
    return generic_packet(spec, steel) if fitted is None else for_piece(fitted, spec, steel)


def _newest(logbook: Path, inputs: RunInputs, *, foil: bool) -> UsedPacket | None:
    """The log book's newest measured packet of this kind that counts for the run."""
    from soakwitness.analysis.run_inputs.measured_packets import newest_packet

    if not (logbook / "logbook.sqlite").exists():
        return None
    with open_book(logbook) as book:
        return newest_packet(book, inputs.header, foil=foil)


def _spec(base: PacketSpec, thickness_mm: float | None, **piece: Any) -> PacketSpec:
    from dataclasses import replace

    told = {name: piece[name] for name in ("heated_faces", "blades", "foil_mm") if piece[name] is not None}
    if thickness_mm is not None:
        told["thickness_mm"] = thickness_mm
    if piece["no_foil"]:
        told["foil"] = False
    return replace(base, **told)


@packet.command()
@click.argument("runs", nargs=-1, required=True, metavar="RUN...")
@click.option("--load", required=True, metavar="SENSOR", help="Sensor that rode in the packet: its name or role.")
@click.option("--thickness-mm", type=Finite(0, 100, min_open=True), help="Thickness of that blade in mm.")
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, metavar="FILE.toml", help="Packet file to write."
)
@click.option("--keep", is_flag=True, help="Keep it in the log book too; it counts from the day of RUN on.")
@piece_options
@slot_options
@by_option
@json_option
@unit_option
@logbook_option
@force_option
def fit(
    runs: tuple[str, ...],
    load: str,
    thickness_mm: float | None,
    out: Path,
    keep: bool,
    slot: int | None,
    filled: str | None,
    rack_path: Path | None,
    by: str | None,
    as_json: bool,
    unit: Unit | None,
    logbook: Path,
    force: bool,
    **piece: Any,
) -> None:
    """Learn the packet from RUN, in which the sensor SENSOR rode inside it, and write a packet file.

    Best is a run with a load mark that passes through the recipe's holds. The file predicts for other thicknesses too.
    Several runs of the same blade also show how much packets differ from run to run, which else is guessed. Where it
    stood among others in a rack, say its slot (--slot) and which were filled (--filled): what is learned is its own.

    Example: soakwitness packet fit sample_logs/good --load load --thickness-mm 3 --out packet.toml
    """
    from soakwitness.analysis.packet.packet_file import PacketFile, packet_text
    from soakwitness.analysis.packet.piece import generic_packet
    from soakwitness.analysis.packet_runs.prediction import fit_run
    from soakwitness.analysis.packet_runs.several import combine_fits, fits_to_dict
    from soakwitness.analysis.recipes.recipe import PacketSpec
    from soakwitness.analysis.record.moments import local_day
    from soakwitness.cli.words.packet_words import fit_lines, several_lines

    check_output(out, force=force, suffixes=(".toml",))
    opened = _opened(runs, logbook)
    inputs = [known_inputs(logbook, run) for run in opened]
    recipe = inputs[0].recipe
    spec = _spec(PacketSpec(), _thickness(opened, load, thickness_mm), **piece)
    known = generic_packet(spec, piece["steel"] or (recipe.steel if recipe else None))
    where = stood_in_slot(opened, known, slot=slot, filled=filled, rack_path=rack_path)
    with _bar(len(opened)) as progress:
        fits = [
            fit_run(run, load, known, corrections=at.corrections, places=at.places, where=where, progress=progress)
            for run, at in zip(opened, inputs, strict=True)
        ]
    found = fits[0].packet if len(fits) == 1 else combine_fits([one.packet for one in fits], before=known)
    text = packet_text(found)
    out.write_text(text, encoding="utf-8")
    if keep:
        since = min(local_day(run.header.started_utc, run.header.zone) for run in opened)
        kept = _keep(logbook, PacketFile(out.name, text), since=since, note="", by=by)
        say(kept_line(kept), err=True)
    if as_json:
        print_json(fits_to_dict(fits, found, file=str(out)))
        return
    shown = unit or (recipe.unit if recipe else "C")
    for line in fit_lines(fits[0], shown) if len(fits) == 1 else several_lines(fits, found, shown):
        say(line)
    click.echo(str(out))


def _opened(names: tuple[str, ...], logbook: Path) -> list[Run]:
    """The runs to learn from, each once."""
    from soakwitness.analysis.record.run import open_run

    opened = [open_run(find_run(name, logbook)) for name in names]
    known = [run.header.run for run in opened]
    twice = next((run for run in known if known.count(run) > 1), None)
    if twice is not None:
        raise WrongUse(f"{twice} is named twice: a run tells what it tells once. Name each run once.")
    return opened


def _thickness(runs: Sequence[Run], load: str, thickness_mm: float | None) -> float:
    """Thickness of the instrumented blade: as told, else as the furnace files say of the sensor."""
    if thickness_mm is not None:
        return thickness_mm
    known = {c.thickness_mm for run in runs for c in run.columns if load in (c.name, c.role)} - {None}
    if len(known) > 1:
        said = ", ".join(f"{mm:g}" for mm in sorted(filter(None, known)))
        raise WrongUse(f"The furnace files say different thicknesses of {load}: {said} mm. Fit each blade by itself.")
    value = next(iter(known), None)
    if value is None:
        raise WrongUse(f"The thickness of the blade that carried {load} is not known. Say it: --thickness-mm 3")
    return value


@contextmanager
def _bar(runs: int) -> Iterator[Callable[[], None]]:
    """A bar on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    with click.progressbar(length=USUAL_ROUNDS * runs, label="Fitting", file=sys.stderr) as bar:
        yield lambda: bar.update(1)


@packet.command("keep")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--since", metavar="DAY", help="Day from which it counts; else that of the run it was learned from.")
@click.option("--note", default="", help="Anything else.")
@by_option
@logbook_option
def keep_file(file: Path, since: str | None, note: str, by: str | None, logbook: Path) -> None:
    """Keep the measured packet FILE in the log book: it is used wherever a recipe names none.

    Of several the newest that counts on the day of a run is used, of foil for packets, bare for bare blades. Runs that
    began before its day are judged as before. A wrong one is struck through: soakwitness logbook strike packet.

    Example: soakwitness packet keep packet.toml
    """
    from soakwitness.analysis.packet.packet_file import read_packet_file

    found = read_packet_file(file)
    if not found.model(str(file)).fitted:
        raise WrongUse(
            f"{file} was not learned from a run (fitted = false). Learn one with: soakwitness packet fit; or use this "
            "one where you name it: --packet"
        )
    say(kept_line(_keep(logbook, found, since=since, note=note, by=by)))


def _keep(logbook: Path, file: PacketFile, *, since: str | None, note: str, by: str | None) -> MeasuredPacket:
    from soakwitness.analysis.logbook.packets import keep_measured
    from soakwitness.analysis.run_inputs.measured_packets import counts_since

    model, stamp = file.model(), new_stamp(by)
    with open_book(logbook, create=True) as book:
        take_in_runs(book, stamp)
        day = since or counts_since(book, model) or date.today().isoformat()
        return keep_measured(book, file.name, file.text, since=day, foil=model.foil, note=note, stamp=stamp)


@packet.command("list")
@json_option
@logbook_option
def list_kept(as_json: bool, logbook: Path) -> None:
    """List the measured packets of the log book, the oldest first.

    Example: soakwitness packet list
    """
    from dataclasses import asdict

    from soakwitness.analysis.logbook.packets import measured_packets

    with open_book(logbook) as book:
        found = measured_packets(book)
    if as_json:
        print_json({"schema": "soakwitness/packets/1", "packets": [asdict(one) for one in found]})
        return
    if not found:
        say("No measured packet is kept. Learn one: soakwitness packet fit --keep", err=True)
    for one in found:
        say(kept_line(one))
