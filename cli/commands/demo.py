"""``soakwitness demo``: a whole run on a simulated furnace, recorded over a real link, verified and shown."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.model import Recipe
    from soakwitness.analysis.verification.model import Verification
    from soakwitness.firmware_bridge.recording.recorder import Recording
    from soakwitness.firmware_bridge.recording.sampling import Sample, Station
    from soakwitness.firmware_bridge.simulated.serving import Serving

AFTER_PULL_S = 180.0  # so much of the cooling is recorded too
RUN_S = 5020.0  # about what the whole run takes, for the progress bar

RECIPE = """\
name = "Kitchen blades, harden"
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
pull_after_step = 4

[[link.piece]]
name = "cleaver D-02"
thickness_mm = 8.0
sensor = true
pull_after_step = 4
pull_plus_minutes = 0.5

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
    type=click.FloatRange(10.0, 1000.0),
    default=180.0,
    show_default=True,
    help="How many times faster than life the furnace and the recorder's clock run.",
)
def demo(out: Path, speed: float) -> None:
    """Record and verify a hardening run on a simulated furnace, in under a minute.

    The controller's own sensor looks perfect all the way. One thing went wrong that it cannot show. No hardware is
    touched; all names are invented. The exit status is 0 although the verdict is "fail": that is what the demo shows.

    Example: soakwitness demo
    """
    from soakwitness.cli.words.cautions import NO_SAFETY_DEVICE

    click.echo(f"A simulated furnace on a real link, {speed:g} times faster than life. {NO_SAFETY_DEVICE}", err=True)
    run = _record_run(out, speed)
    reports = run / "reports"
    reports.mkdir()
    for name, text in (("recipe.toml", RECIPE), ("furnace.toml", FURNACE)):
        (reports / name).write_text(text, encoding="utf-8")
    click.echo("Recorded and sealed. Verifying and drawing ...", err=True)
    _tell(_verify_and_draw(run, reports), run, reports)


def _record_run(logbook: Path, speed: float) -> Path:
    """Serve the furnace, record it until a while after the last piece is out, seal; return the run folder."""
    from soakwitness.firmware_bridge.furnace.file import parse_furnace
    from soakwitness.firmware_bridge.links.opening import open_link
    from soakwitness.firmware_bridge.recording.alarms import Alarms
    from soakwitness.firmware_bridge.recording.beginning import About, begin
    from soakwitness.firmware_bridge.recording.clocks import FastClock
    from soakwitness.firmware_bridge.recording.linking import LinkKeeper
    from soakwitness.firmware_bridge.recording.sampling import Station
    from soakwitness.firmware_bridge.simulated.serving import find

    furnace = parse_furnace(FURNACE, "the demo's furnace file")
    clock = FastClock(speed)
    serving = find(furnace, clock=clock)
    link = LinkKeeper(furnace, clock, lambda wanted, ticking: open_link(wanted, clock=ticking))
    try:
        click.echo(f"Reading {link.open()}.", err=True)
        about = About(logbook, recipe_name=_recipe().name, recipe_file=RECIPE, loading="cold", operator="the demo")
        alarms = Alarms(furnace.alarm, clock, bell=lambda: None)
        recording = begin(furnace, clock, about, alarms=alarms, started_s=serving.began_s)
        _take_samples(Station(clock, link, furnace.every_s), recording, serving)
    finally:
        link.close()
        serving.stop()
    folder = recording.keeper.folder
    assert folder is not None
    return folder.path


def _take_samples(station: Station, recording: Recording, serving: Serving) -> None:
    """Record until the furnace has cooled for a while; what is done at the furnace is marked as it happens."""
    furnace = serving.furnace
    off_s: list[float] = []
    marked = 0

    def tend() -> None:
        nonlocal marked
        recording.tend()
        for done in furnace.happenings[marked:]:
            marked += 1
            if done.t_s > 0.0:  # the cold load is the start itself
                recording.mark(done.act, done.pieces, by="the demo", now_s=serving.began_s + done.t_s)
        if not off_s and furnace.is_off:
            off_s.append(furnace.t_s)

    def is_over() -> bool:
        return bool(off_s) and furnace.t_s >= off_s[0] + AFTER_PULL_S

    try:
        with _progress() as show:

            def take(sample: Sample) -> None:
                recording.take(sample)
                show(furnace.t_s)

            station.run(take, tend, is_over)
    except KeyboardInterrupt:
        recording.end("the demo was stopped")
        raise click.Abort from None
    except BaseException:
        recording.release()
        raise
    recording.end("the demo is over")


@contextmanager
def _progress() -> Iterator[Callable[[float], None]]:
    """Show a bar on stderr where that is a terminal; give a function that is told furnace time [s]."""
    if not sys.stderr.isatty():
        yield lambda t_s: None
        return
    with click.progressbar(length=int(RUN_S), label="Recording", file=sys.stderr) as bar:
        yield lambda t_s: bar.update(max(0, min(int(t_s), int(RUN_S)) - bar.pos))


def _recipe() -> Recipe:
    from soakwitness.analysis.recipes.file import parse_recipe

    return parse_recipe(RECIPE, "the demo's recipe")


def _verify_and_draw(folder: Path, reports: Path) -> Verification:
    """Verify the run as ``verify`` does; write chart and run sheet."""
    from soakwitness.analysis.runs import open_run
    from soakwitness.analysis.verification.verifying import verify
    from soakwitness.cli.charts.run_chart import save_run_chart
    from soakwitness.cli.sheets.sheet import write_sheet

    run, recipe = open_run(folder), _recipe()
    verification = verify(run, recipe)
    save_run_chart(run, verification, recipe, reports / "chart.png")
    write_sheet(run, verification, recipe, reports / "sheet.html")
    return verification


def _tell(verification: Verification, run: Path, reports: Path) -> None:
    """Say what came out and where everything lies."""
    click.echo(f"\nVerdict: {verification.verdict}")
    for finding in verification.findings:
        click.echo(f"- {finding.says} {finding.next}")
    click.echo(f"\nRun:   {run}\nChart: {reports / 'chart.png'}\nSheet: {reports / 'sheet.html'}")
    click.echo(f"\nAsk again: soakwitness verify {run} --recipe {reports / 'recipe.toml'}")
