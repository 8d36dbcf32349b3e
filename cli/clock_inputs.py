"""What the soak clock beside a recording needs to know of its run, gathered by a process of its own.

The log book and the calibrations need modules that a recording process does without. Prints one line of JSON. It only
reads: nothing is entered in the log book.
"""

from __future__ import annotations

import json
from pathlib import Path

import click

from soakwitness.cli.common import run_main


@click.command()
@click.argument("run", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--logbook", type=click.Path(path_type=Path, file_okay=False), required=True)
def clock_inputs(run: Path, logbook: Path) -> None:
    """Print what is known of RUN: corrections of its sensors, packets of its pieces."""
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.analysis.run_inputs.for_clock import clock_inputs_of
    from soakwitness.analysis.run_inputs.inputs import run_inputs
    from soakwitness.firmware_bridge.runfolder.reader import read_header, read_marks

    marks = read_marks(run)
    with open_logbook(logbook, told=lambda says: click.echo(says, err=True)) as book:
        known = run_inputs(book, run, read_header(run), marks, history=False)
    for words in known.refused:
        click.echo(str(words), err=True)
    click.echo(json.dumps(clock_inputs_of(known, marks).as_plain(), allow_nan=False))


if __name__ == "__main__":
    import sys

    sys.exit(run_main(clock_inputs))
