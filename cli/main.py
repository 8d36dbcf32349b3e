"""The command ``soakwitness``: finds a command's module only when it is asked for."""

from __future__ import annotations

import sys
from importlib import import_module

import click

from soakwitness.cli.options.common import SuggestingGroup, run_main

# name: (module, attribute, one line for the overview)
COMMANDS: dict[str, tuple[str, str, str]] = {
    "demo": ("demo", "demo", "Record and verify a run on a simulated furnace, in under a minute."),
    "ports": ("ports", "ports", "List serial ports with their stable names."),
    "furnace": ("furnace", "furnace", "Write, check and try a furnace file (new, check, read)."),
    "record": ("record", "record", "Record one run until Ctrl-C."),
    "watch": ("watch", "watch", "Watch the furnace for ever and record every run by itself."),
    "book": ("book", "book", "The log book as pages in a browser: what records now, runs, the guide."),
    "mark": ("mark", "mark", "Say that something was done: load, pull, plates, hand-warm, door, note."),
    "today": ("today", "today", "What is waiting, and the command that settles it."),
    "runs": ("runs", "runs", "List the runs of the log book, or write one out as a table."),
    "import": ("import_", "import_", "Make a run folder from a log that another instrument kept."),
    "recipe": ("recipe", "recipe", "Check and draw a recipe, or say what to type into the controller."),
    "plan": ("plan", "plan", "Before the run: what to type, when to load, when to take out."),
    "verify": ("verify", "verify", "Compare a run with its recipe."),
    "sheet": ("sheet", "sheet", "Print a run as one page."),
    "packet": ("packet", "packet", "Estimate how the blade in its packet followed the furnace (fit, predict)."),
    "calibrate": ("calibrate", "calibrate", "Find a sensor's correction against a reference."),
    "fixed-points": ("fixed_points", "fixed_points", "Calibrate by ice, boiling water and freezing metals."),
    "survey": ("survey", "survey", "Temperature uniformity of the work zone."),
    "place": ("place", "place", "What the work's place has more or less than a sensor shows."),
    "accuracy": ("accuracy", "accuracy", "Test the control sensor's chain at one temperature."),
    "sensor": ("sensor", "sensor", "Thermocouples and their lives (fitted, list, diagnose)."),
    "emf": ("emf", "emf", "Convert between thermocouple voltage and temperature."),
    "piece": ("piece", "piece", "Pieces: add, charge, hardness, treatments, looks, history, find."),
    "batch": ("batch", "batch", "Batches of pieces."),
    "audit": ("audit", "audit", "Find what a bad batch had that the good ones had not."),
    "condition": ("condition", "condition", "How the furnace itself is doing over many runs."),
    "cutout": ("cutout", "cutout", "Tests of the furnace's over-temperature cut-out."),
    "upkeep": ("upkeep", "upkeep", "Enter what was renewed or done to a furnace."),
    "disposition": ("disposition", "disposition", "Say what was decided about a run's findings."),
    "logbook": ("logbook", "logbook", "Look after the log book (check, rebuild, backup, restore, export)."),
    "steels": ("steels", "steels", "Published heat treatment figures of open steel grades."),
    "guide": ("guide", "guide", "Short pages on every subject."),
}


class LazyGroup(SuggestingGroup):
    """A group that imports a command's module when it is used, so that ``--help`` starts at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the work, not of the alphabet."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module, attribute, _ = COMMANDS[cmd_name]
        command: click.Command = getattr(import_module(f"soakwitness.cli.commands.{module}"), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table, without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, _, text) in COMMANDS.items()])


FIRST_WORDS = """\
soakwitness keeps the log of a heat-treating furnace and says whether the steel got its soak.
See it work, without any furnace:   soakwitness demo
Find the port of your instrument:   soakwitness ports
Write the furnace file:             soakwitness furnace new shed.toml --ask
Write a recipe and have it read:    soakwitness guide recipe
Record a run until Ctrl-C:          soakwitness record shed.toml --recipe harden.toml
Or bring in a memory logger's file: soakwitness import --help
Ask for the verdict:                soakwitness verify last
All commands: soakwitness --help    All pages: soakwitness guide
It only reads, and it is no safety device: the furnace needs its own over-temperature cut-out."""


@click.group(cls=LazyGroup, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="soakwitness")
@click.pass_context
def soakwitness(ctx: click.Context) -> None:
    """The furnace log book that keeps itself: records runs, proves soaks, finds causes.

    It only reads: it cannot change what the furnace does, and it is no safety device.

    Example: soakwitness demo
    """
    if ctx.invoked_subcommand is None:
        click.echo(FIRST_WORDS)


def main() -> None:
    """Run the command line; errors made on purpose become one line on stderr and their exit status."""
    sys.exit(run_main(soakwitness))
