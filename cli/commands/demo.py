"""``soakwitness demo``: a whole run on a simulated furnace, recorded over a real link, verified and shown."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import Finite

if TYPE_CHECKING:
    from soakwitness.cli.terminal.attending import Stop
    from soakwitness.cli.verdicts.verified import Verified
    from soakwitness.firmware_bridge.recording.recorder import Recording
    from soakwitness.firmware_bridge.simulated.serving import Serving

AFTER_PULL_S = 180.0  # so much of the cooling is recorded too
RUN_S = 5020.0  # about what the whole run takes, for the progress bar

RECIPE_NAME = "Kitchen blades, harden"
RECIPE = f"""\
name = "{RECIPE_NAME}"
unit = "C"
steel = "S44004"
load = "cold"

[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 8
tolerance = 8
soak_from = "control"      # equalising: the chamber's minutes count
[[step]]
ramp = "full power"
to = 1040
[[step]]
hold_minutes = 15
at_most_minutes = 30
tolerance = 6
max_overshoot = 6
dip_seconds = 120

[packet]
thickness_mm = 2.0
foil = true

[quench]
medium = "plates"
within_s = 30

[program]
extra_minutes = 1          # enough for a paring knife; not for a cleaver in the same charge
"""

FURNACE = """\
name = "demo furnace"
unit = "C"

[sample]
every_s = 5.0

[link]
kind = "simulated"
seed = 7
after_program = "stay"

[[link.program]]
ramp = "full power"
to = 780
[[link.program]]
hold_minutes = 9
[[link.program]]
ramp = "full power"
to = 1040
[[link.program]]
hold_minutes = 16

[[link.piece]]
name = "paring knife D-01"
thickness_mm = 2.0
steel = "S44004"
pull_after_step = 4
pull_plus_minutes = 0.5

[[link.piece]]
name = "cleaver D-02"
thickness_mm = 8.0
steel = "S44004"
sensor = true
pull_after_step = 4

[[sensor]]
name = "control"
role = "control"
thermocouple = "K"
table = "input"
register = 0
scale = 0.1
resolution = 0.1
fault_values = [32767]

[[sensor]]
name = "load"
role = "load"
thermocouple = "K"
thickness_mm = 8.0
table = "input"
register = 1
scale = 0.1
resolution = 0.1
fault_values = [32767]

[[signal]]
name = "setpoint"
table = "input"
register = 4
scale = 0.1
"""


@click.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="SOAKWITNESS_LOGBOOK",
    default=Path("soakwitness-logbook"),
    show_default=True,
    help="Log book that the run goes into.",
)
@click.option(
    "--speed",
    type=Finite(10.0, 1000.0),
    default=220.0,
    show_default=True,
    help="How many times faster than life the furnace and the recorder's clock run.",
)
@click.option("--browser/--no-browser", default=None, help="Open the page that plays the run, or do not.")
def demo(out: Path, speed: float, browser: bool | None) -> None:
    """Record and verify a hardening run on a simulated furnace, in half a minute, and play it in the browser.

    The controller's own sensor looks perfect all the way. One thing went wrong that it cannot show. No hardware is
    touched; all names are invented. The exit status is 0 although the verdict is "fail": that is what the demo shows.

    The browser is opened where this runs in a terminal of a desktop.

    Example: soakwitness demo
    """
    from soakwitness.cli.verdicts.verified import verify_run
    from soakwitness.cli.words.cautions import NO_SAFETY_DEVICE

    click.echo(f"A simulated furnace on a real link, {speed:g} times faster than life. {NO_SAFETY_DEVICE}", err=True)
    run = _record(out, speed)
    click.echo("Recorded and sealed. Verifying and drawing ...", err=True)
    found = verify_run(run, None, out)
    _tell(found)
    page = _leave_reports(found, run / "reports", speed)
    if page is not None and (browser if browser is not None else has_desktop()):
        click.launch(str(page.resolve()))


def _record(logbook: Path, speed: float) -> Path:
    """Switch the furnace on, record it until a while after the last piece is out, seal; return the run folder."""
    from soakwitness.cli.terminal.attending import Stop
    from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
    from soakwitness.firmware_bridge.marks.expecting import Practice
    from soakwitness.firmware_bridge.recording.clocks import FastClock
    from soakwitness.firmware_bridge.recording.session import record_run
    from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
    from soakwitness.firmware_bridge.simulated.serving import find

    furnace = parse_furnace(FURNACE, "the demo's furnace file")
    clock = FastClock(speed)
    about = RunFacts(
        logbook, recipe_name=RECIPE_NAME, recipe_file=RECIPE, practice=Practice("cold"), operator="the demo"
    )
    serving = find(furnace, clock=clock)
    try:
        with Stop() as stop, ExitStack() as bar:
            path = record_run(furnace, clock, about, _Helper(serving, stop, bar), fresh=True)
    finally:
        serving.stop()
    if stop.asked():
        raise click.Abort
    return path


class _Helper:
    """The person at the demo's furnace, for ``session.record_run``: marks what is done, ends the run."""

    def __init__(self, serving: Serving, stop: Stop, bar: ExitStack) -> None:
        self._serving = serving
        self._stop = stop
        self._bar = bar
        self._progress: Callable[[float], None] | None = None
        self._marked = 0
        self._off_s: float | None = None

    def tell(self, words: str) -> None:
        """One sentence that stays."""
        click.echo(words, err=True)

    def heard(self, event: str, detail: str) -> None:
        """Events are in the record; they are not repeated here."""

    def bell(self) -> None:
        """No bell in a demo."""

    def show(self, recording: Recording) -> None:
        """Move the progress bar on."""
        if self._progress is None:
            self._progress = self._bar.enter_context(_progress())
        self._progress(self._serving.furnace.t_s)

    def tend(self, recording: Recording) -> None:
        """Mark what was done at the furnace; the cold load is the start itself."""
        furnace = self._serving.furnace
        for done in furnace.happenings[self._marked :]:
            self._marked += 1
            if done.t_s > 0.0:
                recording.mark(done.act, done.pieces, by="the demo", now_s=self._serving.began_s + done.t_s)
        if self._off_s is None and furnace.is_off:
            self._off_s = furnace.t_s

    def why_end(self) -> str | None:
        """Why to end: asked to, or all is done."""
        if self._stop.why is not None:
            return self._stop.why
        over = self._off_s is not None and self._serving.furnace.t_s >= self._off_s + AFTER_PULL_S
        return "the demo is over" if over else None


@contextmanager
def _progress() -> Iterator[Callable[[float], None]]:
    """Show a bar on stderr where that is a terminal; give a function that is told furnace time [s]."""
    if not sys.stderr.isatty():
        yield lambda t_s: None
        return
    with click.progressbar(length=int(RUN_S), label="Recording", file=sys.stderr) as bar:
        yield lambda t_s: bar.update(max(0, min(int(t_s), int(RUN_S)) - bar.pos))


def has_desktop() -> bool:
    """Whether a person sits at a desktop that can show a page: a terminal, and a screen to open a window on."""
    shown = sys.platform in ("win32", "darwin") or any(map(os.environ.get, ("DISPLAY", "WAYLAND_DISPLAY")))
    return shown and sys.stdout.isatty()


def _tell(found: Verified) -> None:
    """Say what came out: the sentence first, then what the controller's sensor would make one believe."""
    from soakwitness.cli.words.verify_in_short import verdict_lines
    from soakwitness.firmware_bridge.common.wording import duration, temperature

    click.echo()
    click.echo("\n".join(verdict_lines(found.verification, unit="C")))
    stays = [
        (step, step.control_leave_s - step.control_enter_s)
        for step in found.verification.steps
        if step.kind == "hold" and step.control_enter_s is not None and step.control_leave_s is not None
    ]
    click.echo()
    for hold, stay_s in stays:
        at, asked = temperature(hold.target_c, "C"), duration(hold.required_s)
        click.echo(f"Control sensor at {at}: {duration(stay_s)} in the band, {asked} are asked for.")
    if all(stay_s >= hold.required_s for hold, stay_s in stays):
        click.echo("By the control sensor alone this run would look perfect.")


def _leave_reports(found: Verified, reports: Path, speed: float) -> Path | None:
    """Write the page, chart, sheet and the two files that made the run beside it; say where all lies.

    There is no page where the computer was too busy to record the blade's hold at this speed.
    """
    from soakwitness.cli.charts.run_chart import save_run_chart
    from soakwitness.cli.playback.playback import playback_html
    from soakwitness.cli.sheets.writing import write_sheet

    reports.mkdir(exist_ok=True)
    chart, sheet, recipe, page = (reports / name for name in ("chart.png", "sheet.html", "recipe.toml", "demo.html"))
    recipe.write_text(RECIPE, encoding="utf-8")
    (reports / "furnace.toml").write_text(FURNACE, encoding="utf-8")
    save_run_chart(found.run, found.verification, found.recipe, chart)
    write_sheet(found.run, found.verification, found.recipe, sheet)
    again = f"soakwitness verify {reports.parent} --recipe {recipe}"
    links = [
        ("The chart of this run", chart.name),
        ("Its run sheet", sheet.name),
        (again, ""),
        ("soakwitness guide", ""),
    ]
    place = "demo furnace, simulated; all names are invented"
    lies = f"Chart: {chart}\nSheet: {sheet}\nRun:   {reports.parent}\n\nAsk again: {again}"
    try:
        played = playback_html(found.run, found.verification, piece="cleaver", place=place, links=links)
    except ValueError as error:
        slower = (
            f"This computer was too busy at that speed; again with: soakwitness demo --speed {max(speed / 4, 10):g}"
        )
        click.echo(f"\nNo page: {error}. {slower}\n{lies}")
        return None
    page.write_text(played, encoding="utf-8")
    click.echo(f"\nPage:  {page}\n{lies}")
    return page
