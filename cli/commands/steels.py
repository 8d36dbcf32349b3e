"""``soakwitness steels``: published figures, a user's own, and the cold-treatment what-if."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.analysis.metallurgy.published_treatments import WHATS
from soakwitness.cli.options.common import (
    Finite,
    WrongUse,
    json_option,
    logbook_option,
    nearest,
    print_json,
    unit_option,
)
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.units import Unit, to_celsius

if TYPE_CHECKING:
    from soakwitness.analysis.metallurgy.published_treatments import Steel, What


class SteelsGroup(click.Group):
    """``steels NAME`` shows a steel; ``steels`` alone lists them all."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Take a first word that is no command as the name of a steel."""
        return super().resolve_command(ctx, args if args[0] in self.commands else ["show", *args])

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Go on to the list where nothing but its options is given."""
        if not args or (args[0].startswith("-") and args[0] not in ctx.help_option_names):
            args = ["show", *args]
        return super().parse_args(ctx, args)


@click.group(cls=SteelsGroup)
def steels() -> None:
    """Published heat treatment figures of open steel grades: list, or NAME to show one.

    Each figure stands with its source. Nothing here predicts hardness: confirm with your supplier's certificate.

    Example: soakwitness steels S44004
    """


@steels.command()
@click.argument("name", required=False)
@unit_option
@logbook_option
@json_option
def show(name: str | None, unit: Unit | None, logbook: Path, as_json: bool) -> None:
    """Show one steel, or list all.

    Example: soakwitness steels show O1
    """
    from dataclasses import asdict

    from soakwitness.analysis.metallurgy.disagreements import disagreements
    from soakwitness.analysis.metallurgy.published_treatments import (
        CONFIRM,
        OWN_FILE,
        also_words,
        figure_sentence,
        find_steel,
        known_steels,
    )

    known = known_steels(logbook / OWN_FILE)
    chosen: tuple[Steel, ...] = known
    if name is not None:
        found = find_steel(name, known)
        if found is None:
            there = ", ".join(steel.name for steel in known)
            near = nearest(name, [steel.name for steel in known] + ["add", "cold"])
            raise WrongUse(
                f"No figures for {name!r}.{near} There are: {there}. Add your own: soakwitness steels add --help."
            )
        chosen = (found,)
    if as_json:
        listed = [
            asdict(steel) | {"also_says": also_words(steel), "disagreements": disagreements(steel)} for steel in chosen
        ]
        print_json({"schema": "soakwitness/steels/1", "says": CONFIRM, "steels": listed})
        return
    for steel in chosen:
        say(f"{steel.name}" + (f" ({also_words(steel)})" if steel.also else ""))
        if name is not None:
            for figure in sorted(steel.figures, key=lambda figure: WHATS.index(figure.what)):
                say(f"  {figure_sentence(figure, unit or 'C')}")
            for says in disagreements(steel, unit or "C"):
                say(f"  {says}")
    say(CONFIRM if name else "Show one with: soakwitness steels NAME. " + CONFIRM)


@steels.command()
@click.argument("name")
@click.option("--what", required=True, type=click.Choice([w for w in WHATS if w != "soak"]), help="Which figure.")
@click.option("--temp", type=Finite(), help="Temperature, or the lowest of a range, in --unit.")
@click.option("--to", type=Finite(), help="Highest of the range.")
@click.option("--hrc", type=Finite(), help="Hardness, or the lowest of a range.")
@click.option("--hrc-to", type=Finite(), help="Highest hardness of the range.")
@click.option("--note", default="", help="A word on it, such as the bar's size.")
@click.option("--also", multiple=True, help="Another designation. Repeat.")
@click.option("--source", required=True, help="Where it is published, or who told it.")
@click.option("--dated", type=click.DateTime(["%Y-%m-%d"]), help="Day of the supplier's sheet, 2026-11-26.")
@click.option("--sheet", type=click.Path(path_type=Path, dir_okay=False), help="The sheet itself: a copy is kept.")
@unit_option
@logbook_option
def add(
    name: str,
    what: What,
    temp: float | None,
    to: float | None,
    hrc: float | None,
    hrc_to: float | None,
    note: str,
    also: tuple[str, ...],
    source: str,
    dated: datetime | None,
    sheet: Path | None,
    unit: Unit | None,
    logbook: Path,
) -> None:
    """Add one figure to your own file in the log book's folder, one line each.

    A supplier's sheet may be kept beside it. Where composition, quench or cold treatment is told, --note has the words.

    Example: soakwitness steels add shop-7 --what temper --temp 200 --hrc 60 --source "certificate of 2026-03"
    """
    from soakwitness.analysis.metallurgy.published_treatments import (
        OWN_FILE,
        SteelFigure,
        append_figure,
        checked,
        figure_sentence,
        keep_sheet,
    )

    if hrc is None and hrc_to is not None:
        raise WrongUse("--hrc-to needs --hrc, the lowest hardness.")
    if temp is None and to is not None:
        raise WrongUse("--to needs --temp, the lowest temperature.")
    low_c = to_celsius(temp, unit)
    figure = SteelFigure(
        name.strip(),
        what,
        low_c,
        low_c if to is None else to_celsius(to, unit),
        hrc,
        hrc if hrc_to is None else hrc_to,
        note,
        source + (f", {dated:%Y-%m-%d}" if dated else "") + (f", {sheet.name}" if sheet else ""),
        also,
    )
    if sheet is not None:
        checked(figure, "the new figure")
        say(f"The sheet is kept as {keep_sheet(logbook, sheet)}", err=True)
    path = append_figure(logbook / OWN_FILE, figure)
    say(f"{figure.steel}, {figure_sentence(figure, unit or 'C')}")
    say(f"Written to {path}", err=True)


@steels.command()
@click.option("--ms", type=Finite(), help="Martensite start measured for this steel and hardening temperature.")
@click.option("--temp", type=Finite(), required=True, help="Lowest temperature of the cold treatment.")
@unit_option
@json_option
def cold(ms: float | None, temp: float, unit: Unit | None, as_json: bool) -> None:
    """Say how much austenite a cold treatment might leave: a what-if, never a verdict.

    Without a measured Ms it is refused: formulas for Ms do not hold for high-carbon and chromium stainless steels.

    Example: soakwitness steels cold --ms 200 --temp -80
    """
    from soakwitness.analysis.metallurgy.equivalents import LABEL, retained_fraction
    from soakwitness.firmware_bridge.common.wording import temperature

    shown: Unit = unit or "C"
    low_c, ms_c = to_celsius(temp, shown), to_celsius(ms, shown)
    room, low = retained_fraction(25.0, ms_c=ms_c), retained_fraction(low_c, ms_c=ms_c)
    if as_json:
        print_json({"schema": "soakwitness/cold/1", "retained_at_25_c": room, "retained": low, "temp_c": low_c})
        return
    say(
        f"If Ms is {temperature(ms_c or 0.0, shown)}: about {100 * room:.0f} % austenite left at "
        f"{temperature(25.0, shown)}, {100 * low:.0f} % after {temperature(low_c, shown)} in one go."
    )
    say(f"Koistinen and Marburger 1959, plain carbon steels; {LABEL}.")
