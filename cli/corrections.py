"""Corrections of a run's sensors out of the log book, for the recording process: asked of a process of its own.

The log book and the calibrations need modules that a recording process does without. Prints one line of JSON: for
each sensor its table of readings [degC] and what to add to them [K].
"""

from __future__ import annotations

import json
from pathlib import Path

import click

from soakwitness.cli.common import run_main

Table = tuple[tuple[float, float], ...]


@click.command()
@click.argument("run", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--logbook", type=click.Path(path_type=Path, file_okay=False), required=True)
def corrections(run: Path, logbook: Path) -> None:
    """Print the corrections that are valid for the sensors of RUN."""
    from soakwitness.analysis.calibration.keeping import corrections_for
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.firmware_bridge.runfolder.reader import read_header

    with open_logbook(logbook, told=lambda says: click.echo(says, err=True)) as book:
        found, refused = corrections_for(book, read_header(run))
    for words in refused:
        click.echo(words, err=True)
    tables = {name: list(zip(one.table_reading_c, one.table_correction_c, strict=True)) for name, one in found.items()}
    click.echo(json.dumps(tables))


def read_tables(text: str) -> dict[str, Table]:
    """What ``corrections`` printed; empty where it printed nothing that fits."""
    try:
        said = json.loads(text)
        return {str(name): tuple((float(a), float(b)) for a, b in table) for name, table in said.items()}
    except (ValueError, TypeError, AttributeError):
        return {}


def corrected(temp_c: float, table: Table) -> float:
    """A reading with its correction [degC]; beyond the calibrated range that of its end."""
    if not table or temp_c <= table[0][0]:
        return temp_c + (table[0][1] if table else 0.0)
    for (low, low_k), (high, high_k) in zip(table, table[1:], strict=False):
        if temp_c <= high:
            return temp_c + low_k + (high_k - low_k) * (temp_c - low) / (high - low)
    return temp_c + table[-1][1]


if __name__ == "__main__":
    import sys

    sys.exit(run_main(corrections))
