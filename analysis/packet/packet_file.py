"""Packet files (TOML): what an instrumented run told about a packet. Standard library only."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from soakwitness.analysis.errors import PacketFileError
from soakwitness.analysis.packet.piece import (
    GENERIC_BARE,
    GENERIC_FOIL,
    LAG_LIMITS,
    LIMITS,
    NO_CORRELATION,
    PARAMETERS,
    PEAK_C,
    PEAK_LIMITS_C,
    PacketModel,
)
from soakwitness.analysis.packet.piece import for_piece as for_piece
from soakwitness.analysis.packet.piece import generic_packet as generic_packet
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.firmware_bridge.common.steel_groups import SteelGroup
from soakwitness.firmware_bridge.common.tables import Table, parse

FORMAT = "soakwitness/packet-file/1"
KEYS = ("format", "fitted", "fitted_from", "thickness_mm", "foil", "foil_mm", "heated_faces", "blades", "steel_group")
FIGURES = (*PARAMETERS, "peak_c", "peak_spread_c", "sensor_offset_c", "sensor_lag_s", "sensor_lag_spread_s")
LAG = "sensor_lag_s"
MAKE = "Make one with: soakwitness packet fit"
TABLES = ("spread", "scatter", "correlation")


@dataclass(frozen=True)
class PacketFile:
    """A packet file as it was read: its name and its text."""

    name: str
    text: str

    @property
    def digest(self) -> str:
        """SHA-256 of the text."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    def model(self, source: str = "") -> PacketModel:
        """The packet; ``source`` says in a message where the file stands."""
        return parse_packet(self.text, source or self.name)


def read_packet_file(path: str | Path) -> PacketFile:
    """Read a packet file without looking into it; PacketFileError where it cannot be read."""
    try:
        return PacketFile(Path(path).name, Path(path).read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise PacketFileError(
            f"{path}: cannot be read ({error.strerror}). Make one with: soakwitness packet fit"
        ) from None
    except UnicodeDecodeError:
        raise PacketFileError(f"{path}: is no text in UTF-8. Make one with: soakwitness packet fit") from None


def load_packet(path: str | Path) -> PacketModel:
    """Read and check a packet file.

    Parameters
    ----------
    path : str or pathlib.Path
        The packet file, TOML in UTF-8.

    Returns
    -------
    PacketModel
        The packet with the thickness it was fitted with.

    Raises
    ------
    PacketFileError
        If the file cannot be read, or for the first mistake found: file, key, value and what is allowed.
    """
    return read_packet_file(path).model(str(path))


def named_packet(recipe: Recipe) -> PacketFile | None:
    """Read the measured packet that a recipe file names.

    Returns none where it names none, or where its text was kept and nobody knows where the file lies.

    Raises PacketFileError if the file is missing, is no packet file, or was not learned from a run.
    """
    if recipe.measured is None or recipe.folder is None:
        return None
    path = Path(recipe.folder, recipe.measured)
    where = f'{recipe.source}, [packet], measured = "{recipe.measured}"'
    if not path.is_file():
        raise PacketFileError(
            f"{where}: there is no file {path}. Make it with soakwitness packet fit, or leave the key out."
        )
    found = read_packet_file(path)
    if not found.model(str(path)).fitted:
        raise PacketFileError(
            f"{where}: {path} was not learned from a run (fitted = false). Make one with soakwitness packet fit; "
            "what a piece is that was not measured stands in the other keys of [packet]."
        )
    return found


def parse_packet(text: str, source: str = "packet file") -> PacketModel:
    """Check the text of a packet file.

    Raises PacketFileError for the first mistake: line or key, value and what is allowed.
    """
    return _packet(parse(text, source, PacketFileError, hint=MAKE), source)


def _packet(top: Table, source: str) -> PacketModel:
    top.check_keys((*KEYS, *FIGURES, *TABLES))
    together = top.table("correlation")
    if top.values.get("format", FORMAT) != FORMAT:
        top.refuse("format", f'must be "{FORMAT}".')
    thickness = top.number("thickness_mm", low=0.0, high=100.0, unit="mm", above=True)
    if thickness is None:
        top.refuse("thickness_mm", "is missing: the thickness of the blade in mm.")
    foil = top.flag("foil", True)
    generic = GENERIC_FOIL if foil else GENERIC_BARE
    group = cast(SteelGroup, top.choice("steel_group", tuple(PEAK_C), "unknown"))
    figures: dict[str, Any] = {name: _figure(top, name, generic[name][0]) for name in PARAMETERS}
    fitted = top.flag("fitted", False)
    return PacketModel(
        thickness_mm=thickness,
        foil=foil,
        foil_mm=top.number("foil_mm", 0.05, low=0.0, high=1.0, unit="mm", above=True),
        heated_faces=top.whole("heated_faces", 1, 2, 2),
        blades=top.whole("blades", 1, 100, 1),
        spread=_logs(top.table("spread"), tuple(generic[name][1] for name in PARAMETERS)),
        scatter=_logs(top.table("scatter"), (0.0,) * len(PARAMETERS)),
        correlation=_correlation(together),
        sensor_lag_with=_with_lag(together),
        peak_c=top.number("peak_c", PEAK_C[group][0], low=PEAK_LIMITS_C[0], high=PEAK_LIMITS_C[1], unit="°C"),
        peak_spread_c=top.number("peak_spread_c", PEAK_C[group][1], low=0.0, high=100.0, unit="°C"),
        steel_group=group,
        fitted=fitted,
        slow_side=1.0 if fitted else 1.5,
        sensor_offset_c=top.number("sensor_offset_c", 0.0, low=-50.0, high=50.0, unit="°C"),
        sensor_lag_s=top.number("sensor_lag_s", 0.0, low=LAG_LIMITS[0], high=LAG_LIMITS[1], unit="s"),
        sensor_lag_spread_s=top.number("sensor_lag_spread_s", 0.0, low=0.0, high=300.0, unit="s"),
        fitted_from=top.text("fitted_from") or "",
        fitted_thickness_mm=thickness if fitted else None,
        source=source,
        **figures,
    )


def _figure(table: Table, name: str, default: float) -> float:
    low, high = LIMITS[name]
    return table.number(name, default, low=low, high=high)


def _logs(table: Table | None, default: tuple[float, ...]) -> tuple[float, ...]:
    """Standard deviations of logarithms, by name."""
    if table is None:
        return default
    table.check_keys(PARAMETERS)
    return tuple(table.number(name, 0.0, low=0.0, high=3.0) for name in PARAMETERS)


def _correlation(table: Table | None) -> tuple[tuple[float, ...], ...]:
    """Correlations, one row a figure in the order of ``PARAMETERS``."""
    if table is None:
        return NO_CORRELATION
    table.check_keys((*PARAMETERS, LAG))
    rows = [_row(table, name) for name in PARAMETERS]
    if any(abs(rows[i][j] - rows[j][i]) > 1e-6 or rows[i][i] != 1.0 for i in range(len(rows)) for j in range(i)):
        table.refuse(PARAMETERS[0], "the rows must be the same across the diagonal, which is 1.")
    return tuple(rows)


def _with_lag(table: Table | None) -> tuple[float, ...]:
    """How the sensor's lag goes together with the figures; not at all in files that do not say."""
    return (0.0,) * len(PARAMETERS) if table is None or LAG not in table.values else _row(table, LAG)


def _row(table: Table, name: str) -> tuple[float, ...]:
    row = table.values.get(name)
    good = isinstance(row, list) and len(row) == len(PARAMETERS)
    if not good or not all(isinstance(v, (int, float)) and -1.0 <= v <= 1.0 for v in cast(list[Any], row)):
        table.refuse(name, f"must be {len(PARAMETERS)} numbers from -1 to 1: {', '.join(PARAMETERS)}.")
    return tuple(float(v) for v in cast(list[Any], row))


def packet_text(packet: PacketModel) -> str:
    """Write a packet as a file that :func:`load_packet` reads.

    Returns TOML with a comment to each group of figures.
    """
    lines = [
        "# What a packet is, as an instrumented run told it (soakwitness packet fit).",
        "# It predicts other thicknesses too.",
        f'format = "{FORMAT}"',
        f"fitted = {str(packet.fitted).lower()}",
    ]
    if packet.fitted_from:
        lines.append(f"fitted_from = {_quoted(packet.fitted_from)}")
    lines += [
        f"thickness_mm = {packet.thickness_mm:g}",
        f"foil = {str(packet.foil).lower()}",
        f"foil_mm = {packet.foil_mm:g}",
        f"heated_faces = {packet.heated_faces}",
        f"blades = {packet.blades}",
        f'steel_group = "{packet.steel_group}"',
        "# eps_o: emissivity outside; f_i: radiation factor from foil to blade; gap_mm: gas between them;",
        "# peak_factor: size of the transformation peak of c_p against EN 1993-1-2, peak_c its place in °C;",
        "# sensor_lag_s: how many seconds the chamber's sensor is behind what the packet feels.",
        *(f"{name} = {getattr(packet, name):.5g}" for name in FIGURES),
        "# Standard deviations of the logarithms: 0.2 is about 20 %. Of the figures, then from run to run.",
        *_table("spread", packet.spread),
        *_table("scatter", packet.scatter),
        "[correlation]",
        *(
            f"{name} = [{', '.join(f'{v:.6g}' for v in row)}]"
            for name, row in zip((*PARAMETERS, LAG), (*packet.correlation, packet.sensor_lag_with), strict=True)
        ),
    ]
    return "\n".join(lines) + "\n"


def _table(name: str, logs: tuple[float, ...]) -> list[str]:
    return [f"[{name}]", *(f"{key} = {value:.5g}" for key, value in zip(PARAMETERS, logs, strict=True))]


def _quoted(text: str) -> str:
    """TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'
