"""``soakwitness plan``: what to type, when to load and when to take out, before the run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    Finite,
    WrongUse,
    check_output,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import (
    by_option,
    furnace_named,
    new_stamp,
    open_book,
    refresh_runs,
    start_of,
    take_in_runs,
    zone_option,
)
from soakwitness.cli.verdicts.recipe_warnings import recipe_warnings
from soakwitness.cli.verdicts.verified import packet_option
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says, Temp

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.planning.plan import Plan
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.run_inputs.for_plan import Asked
    from soakwitness.analysis.verification.results.verification import PieceInfo
    from soakwitness.cli.words.plan_words import When

USUAL_MM = 3.0


@click.command()
@click.argument("recipe_path", type=click.Path(path_type=Path), metavar="RECIPE")
@click.option("--piece", "pieces", multiple=True, metavar="NAME", help="Piece of the log book, or B-041..B-046.")
@click.option("--thickness", "thickness_mm", type=Finite(0, 100, min_open=True), help="Of each blade, in mm.")
@click.option("--foil/--bare", default=None, help="In foil or bare; else as the recipe says.")
@click.option("--count", type=click.IntRange(1, 100), default=None, help="How many packets.")
@click.option("--furnace", help="Furnace whose runs and sensor count: its name, or its file.")
@click.option("--reaches", metavar="600:20,900:45", help="Its climb from cold at full power: degrees and minutes.")
@click.option("--at", "starts", metavar="TIME", help="When it is started: 8:30, or ISO 8601; else now.")
@click.option("--temper", "temper_path", type=click.Path(path_type=Path), metavar="FILE", help="The temper's recipe.")
@packet_option
@click.option("--chart", type=click.Path(path_type=Path), help="Draw what is expected as FILE.png, .svg or .pdf.")
@click.option("--sheet", type=click.Path(path_type=Path), help="The card as a page: FILE.html or FILE.pdf.")
@click.option("--paper", type=click.Choice(["A4", "letter"]), default="A4", show_default=True)
@click.option("--keep", is_flag=True, help="Keep the plan in the log book: verify puts the run beside it.")
@click.option("--learn-anew", is_flag=True, help="Leave out from now on what runs so far taught.")
@by_option
@zone_option
@json_option
@unit_option
@logbook_option
@force_option
def plan(
    *, chart: Path | None, sheet: Path | None, paper: Any, as_json: bool, force: bool, logbook: Path, **asked: Any
) -> None:
    """Plan a run by RECIPE: what to type and for how long, when to load, when to take out, what the day looks like.

    The minutes are such that the slowest blade has its soak even by the low bound of its estimate, and none more than
    at_most_minutes. Without --piece and --thickness the charge that waits for the furnace is planned, else the
    recipe's packet. RECIPE is a file, or the name of a recipe that runs of the log book have. With --keep the plan is
    kept, and later plans learn from it; nothing is kept unasked.

    Example: soakwitness plan sample_logs/recipes/chef-blades-hot.toml --thickness 3 --count 6 --at 8:30
    """
    if chart is not None:
        check_output(chart, force=force, suffixes=CHART_ENDINGS)
    if sheet is not None:
        check_output(sheet, force=force, suffixes=(".html", ".pdf"))
    made = planned(logbook=logbook, **asked)
    if chart is not None:
        from soakwitness.cli.charts.plan_chart import save_plan_chart

        save_plan_chart(made.plan, made.when, chart, unit=made.unit)
    if sheet is not None:
        write_card(made, sheet, logbook=logbook, paper=paper)
    if as_json:
        print_json(_as_json(made))
        return
    _tell(made)
    for path in filter(None, (chart, sheet)):
        click.echo(str(path))


@dataclass(frozen=True)
class Planned:
    """A plan, the hours and the unit of its card, what looks unintended in its recipe; ``kept``: its entry, if kept."""

    plan: Plan
    when: When
    unit: Unit
    warnings: tuple[str, ...]
    kept: int | None


def planned(
    *,
    recipe_path: Path,
    pieces: tuple[str, ...],
    thickness_mm: float | None,
    foil: bool | None,
    count: int | None,
    furnace: str | None,
    reaches: str | None,
    starts: str | None,
    temper_path: Path | None,
    packet_path: Path | None,
    keep: bool,
    learn_anew: bool,
    by: str | None,
    zone: str | None,
    unit: Unit | None,
    logbook: Path,
) -> Planned:
    """Make the plan that the command was asked for, and keep it where that was asked."""
    from soakwitness.analysis.planning.planning import make_plan
    from soakwitness.analysis.run_inputs.for_plan import plan_inputs
    from soakwitness.cli.verdicts.recipe_named import packet_named, recipe_named
    from soakwitness.cli.words.plan_words import When

    if (keep or learn_anew) and furnace is None:
        asked = Field("keep" if keep else "learn-anew")
        raise WrongUse(
            Says.of("{asked} is of one furnace: name it, {name}.", asked=asked, name=Field("furnace", metavar="NAME"))
        )
    if pieces and (thickness_mm is not None or count is not None):
        named = {"piece": Field("piece"), "mm": Field("thickness"), "count": Field("count")}
        raise WrongUse(
            Says.of("{piece} names pieces of the log book, {mm} and {count} such as are not in it: not both.", **named)
        )
    starts_utc, zone = start_of(starts, zone)
    with _book(logbook, needed=bool(pieces or keep or learn_anew)) as book:
        recipe, packet = recipe_named(book, recipe_path)
        temper = None if temper_path is None else _temper(recipe_named(book, temper_path)[0])
        if book is not None and furnace is not None:
            take_in_runs(book, new_stamp(by))
        name, rack = _furnace(book, furnace)
        if book is not None and name is not None:
            _bring_up_to_date(book, name, learn_anew=learn_anew, by=by)
        infos = _infos(book, recipe, pieces, name, starts_utc, thickness_mm=thickness_mm, foil=foil, count=count)
        packet = packet_named(book, packet_path) or packet
        inputs, lag_of = plan_inputs(
            book, _asked(recipe, infos, starts_utc, zone, name, rack, packet, reaches, unit, temper)
        )
        made = make_plan(inputs)
        told = {"temper": temper and temper.digest, "reaches": reaches, "foil": foil, "unit": unit}
        told |= {"packet": packet.file.digest if packet_path is not None and packet is not None else None}
        kept = _keep(book, made, lag_of, starts_utc, by, told) if keep and book is not None else None
    return Planned(made, When(starts_utc, zone), unit or recipe.unit, recipe_warnings(recipe, logbook, unit), kept)


def _temper(recipe: Recipe) -> Recipe:
    """The temper's recipe; one that hardens was named by mistake."""
    from soakwitness.analysis.recipes.recipe import HARDENING_FROM_C

    hottest_c = max((hold.target_c for hold in recipe.holds), default=0.0)
    if hottest_c >= HARDENING_FROM_C:
        says = "{temper}: its recipe goes to {hot}, and no blade is tempered above {most}. Name the temper's own."
        most, named = Temp(HARDENING_FROM_C), Field("temper")
        raise WrongUse(Says.of(says, temper=named, hot=Temp(hottest_c), most=most))
    return recipe


def write_card(made: Planned, path: Path, *, logbook: Path, paper: Any) -> None:
    """Write the card as a page to print."""
    from soakwitness.cli.sheets.plan_sheet import plan_sheet
    from soakwitness.cli.sheets.shop import shop_lines
    from soakwitness.cli.sheets.writing import write_sheets

    page = plan_sheet(made.plan, made.when, unit=made.unit, shop=shop_lines(logbook), warnings=made.warnings)
    write_sheets([page], path, paper=paper)


def _tell(made: Planned) -> None:
    from soakwitness.cli.options.screen import screen_width
    from soakwitness.cli.words.plan_words import card_lines, card_of, kept_line

    for line in card_lines(card_of(made.plan, made.when, made.unit, made.warnings), screen_width()):
        click.echo(line)
    if made.kept is not None:
        click.echo(kept_line(made.plan.inputs.furnace.name, made.kept), err=True)


def _book(logbook: Path, *, needed: bool) -> Any:
    """The log book where there is one."""
    if needed or (logbook / "logbook.sqlite").exists() or (logbook / "runs").is_dir():
        return open_book(logbook, create=(logbook / "runs").is_dir())
    return nullcontext(None)


def _furnace(book: LogBook | None, furnace: str | None) -> tuple[str | None, Any]:
    """Its name as runs have it, and the rack of its file where the file was named."""
    if furnace is None:
        return None, None
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace

    if Path(furnace).is_file():
        found = load_furnace(furnace)
        return found.name, found.rack
    if book is None:
        says = (
            "{furnace}: there is no log book here, so nothing is known of it. Name its file, or leave it out and say "
            "how it climbs: {climb}"
        )
        climb = Field("reaches", "600:20,900:45")
        raise WrongUse(Says.of(says, furnace=Field("furnace", furnace), climb=climb))
    return furnace_named(book, furnace), None


def _bring_up_to_date(book: LogBook, furnace: str, *, learn_anew: bool, by: str | None) -> None:
    from soakwitness.analysis.logbook import plans
    from soakwitness.analysis.run_inputs.for_plan import newest_runs

    stamp = new_stamp(by)
    refresh_runs(book, stamp, newest_runs(book, furnace))
    if learn_anew:
        entry = plans.learn_anew(book, furnace, stamp=stamp)
        click.echo(
            f"What runs so far taught the plans of {furnace} is left out (entry {entry}; taken back by: soakwitness "
            f"logbook strike plan-reset {entry} --why ...).",
            err=True,
        )


def _infos(
    book: LogBook | None,
    recipe: Recipe,
    names: Sequence[str],
    furnace: str | None,
    at_utc: str,
    *,
    thickness_mm: float | None,
    foil: bool | None,
    count: int | None,
) -> tuple[PieceInfo, ...]:
    """Which pieces: those named, those told of, those that wait for the furnace, else the recipe's packet."""
    from soakwitness.analysis.planning.day import hardens
    from soakwitness.analysis.verification.results.verification import PieceInfo

    waiting = _waiting(book, furnace, at_utc)
    if names and book is not None:
        return tuple(_known_pieces(book, names, waiting, foil))
    if waiting and thickness_mm is None and count is None:
        return tuple(waiting.values())
    usual = recipe.packet.thickness_mm if recipe.packet is not None else USUAL_MM
    many = count or 1
    if foil is None and recipe.packet is None:
        foil = hardens(recipe)  # tempered and stress relieved out of the foil
    called = ["the blade"] if many == 1 else [f"blade {n}" for n in range(1, many + 1)]
    return tuple(PieceInfo(one, thickness_mm=thickness_mm or usual, foil=foil) for one in called)


def _waiting(book: LogBook | None, furnace: str | None, at_utc: str) -> dict[str, PieceInfo]:
    """The charge that waits for the furnace's next run, by the names of its pieces."""
    if book is None or furnace is None:
        return {}
    from soakwitness.analysis.logbook.charges import pieces_waiting
    from soakwitness.analysis.verification.results.verification import PieceInfo

    return {
        one.piece.casefold(): PieceInfo(
            one.piece, one.thickness_mm, one.foil, one.heated_faces, one.blades, one.charge_name, one.place
        )
        for one in pieces_waiting(book, furnace, at_utc)
    }


def _known_pieces(
    book: LogBook, names: Sequence[str], waiting: dict[str, PieceInfo], foil: bool | None
) -> list[PieceInfo]:
    from soakwitness.analysis.logbook.pieces import pieces_named
    from soakwitness.analysis.verification.results.verification import PieceInfo

    found = pieces_named(book, names)
    unknown = [one.id for one in found if one.thickness_mm is None]
    if unknown:
        click.echo(f"The thickness of {', '.join(unknown)} is not known: the recipe's counts.", err=True)
    return [waiting.get(one.id.casefold()) or PieceInfo(one.id, one.thickness_mm, foil) for one in found]


def _asked(
    recipe: Recipe,
    infos: tuple[PieceInfo, ...],
    starts_utc: str,
    zone: str,
    furnace: str | None,
    rack: Any,
    packet: Any,
    reaches: str | None,
    unit: Unit | None,
    temper: Recipe | None,
) -> Asked:
    from soakwitness.analysis.run_inputs.for_plan import Asked

    return Asked(
        recipe,
        infos,
        starts_utc,
        zone,
        furnace=furnace,
        rack=rack,
        packet=packet,
        climb=reaches,
        unit=unit or recipe.unit,
        temper=temper,
    )


def _keep(book: LogBook, made: Plan, packet: str, starts_utc: str, by: str | None, told: Mapping[str, Any]) -> int:
    """Keep it with what it was asked by, as far as the plan itself does not say it."""
    from soakwitness.analysis.logbook.plans import keep_plan
    from soakwitness.analysis.planning.plan import plan_to_dict

    asked = {name: value for name, value in told.items() if value is not None}
    plan = plan_to_dict(made) | {"asked": asked}
    return keep_plan(book, plan, packet=packet, starts_utc=starts_utc, stamp=new_stamp(by)).entry


def _as_json(made: Planned) -> dict[str, Any]:
    from dataclasses import asdict

    from soakwitness.analysis.planning.day import day_of
    from soakwitness.analysis.planning.plan import plan_to_dict
    from soakwitness.analysis.planning.planning import program_of
    from soakwitness.cli.words.plan_words import headline

    day = day_of(made.plan)
    return plan_to_dict(made.plan) | {
        "sentence": headline(made.plan, made.when, made.unit),
        "starts_utc": made.when.starts_utc,
        "zone": made.when.zone,
        "program": [asdict(step) for step in program_of(made.plan)],
        "after": [] if day is None else [asdict(step) for step in day.steps],
        "kept": made.kept,
        "warnings": made.warnings,
    }
