"""Which measured packet counts for a run: named on the spot, by its recipe, by the run itself, or by the log book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from soakwitness.analysis.errors import PacketFileError
from soakwitness.analysis.recipes.model import Recipe
from soakwitness.analysis.verification.model import PieceInfo
from soakwitness.analysis.verification.pieces import piece_spec

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.analysis.packet.file import PacketFile
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.firmware_bridge.runfolder.model import RunHeader

Origin = Literal["option", "recipe", "run", "log book"]
ORIGIN_WORDS = {
    "option": "given with the command",
    "recipe": "named by the recipe",
    "run": "of the run",
    "log book": "of the log book",
}


@dataclass(frozen=True)
class UsedPacket:
    """A packet that was measured, or told with the command, and where it comes from."""

    file: PacketFile
    model: PacketModel
    origin: Origin
    since: str | None = None

    @property
    def says(self) -> str:
        """Which it is, in words."""
        kind = "measured packet" if self.model.fitted else "packet"
        since = f", which counts since {self.since}" if self.since else ""
        return f"{kind} {self.file.name or self.file.digest[:12]}, {ORIGIN_WORDS[self.origin]}{since}"

    def as_dict(self) -> dict[str, Any]:
        """The same for ``verify --json``."""
        return {
            "file": self.file.name,
            "digest": self.file.digest,
            "from": self.origin,
            "fitted": self.model.fitted,
        }


def used(file: PacketFile, origin: Origin, source: str = "", since: str | None = None) -> UsedPacket:
    """A packet file with its model; ``source`` says in a message where it stands."""
    return UsedPacket(file, file.model(source), origin, since)


def packet_for(
    book: LogBook | None,
    header: RunHeader,
    entry: RunEntry | None,
    recipe: Recipe,
    pieces: Sequence[PieceInfo],
) -> tuple[UsedPacket | None, tuple[str, ...]]:
    """Find the measured packet that counts for a run.

    Parameters
    ----------
    book : LogBook or None
        The open log book.
    header : RunHeader
        The run.
    entry : RunEntry or None
        The run as the log book lists it.
    recipe : Recipe
        The recipe it is judged by.
    pieces : sequence of PieceInfo
        Its pieces.

    Returns
    -------
    tuple of UsedPacket or None and tuple of str
        The packet, and in words what was named and cannot be used.

    Notes
    -----
    In this order: the file that a recipe file names; what the log book kept of it when the run was given its recipe;
    what the run itself carries; the newest of the log book, of foil or bare as the pieces are, that counts on the day
    of the run. The last one only where every piece is known to be a packet: else one that nobody measured would be
    taken for it.
    """
    says: list[str] = []
    found = _named(book, header, entry, recipe, says)
    specs = [piece_spec(recipe, piece) for piece in pieces] or [recipe.packet]
    known = [spec for spec in specs if spec is not None]
    if found is not None:
        other = [spec for spec in known if spec.foil != found.model.foil]
        if known and len(other) == len(known):
            here, there = ("foil", "bare") if found.model.foil else ("a bare blade", "in foil")
            says.append(f"The {found.says}, is not used: it is {here}, and the pieces are {there}.")
        return found, tuple(says)
    if recipe.measured is not None:
        says.append(
            f"The measured packet {recipe.measured}, named by the recipe, is neither with the run nor in the log book. "
            "Keep it there: soakwitness packet keep FILE"
        )
    if book is not None and len(known) == len(specs):
        return newest_packet(book, header, foil=any(spec.foil for spec in known), says=says), tuple(says)
    return None, tuple(says)


def newest_packet(book: LogBook, header: RunHeader, *, foil: bool, says: list[str] | None = None) -> UsedPacket | None:
    """Newest packet of the log book that counts on the day of a run, in the run's own zone.

    Parameters
    ----------
    book : LogBook
        The open log book.
    header : RunHeader
        The run.
    foil : bool
        One of foil; else a bare blade.
    says : list of str, optional
        Gets a sentence where there is one that cannot be read.

    Returns
    -------
    UsedPacket or None
        None where there is none.
    """
    from soakwitness.analysis.logbook.moments import local_day
    from soakwitness.analysis.logbook.packets import measured_packet_on
    from soakwitness.analysis.packet.file import PacketFile

    kept = measured_packet_on(book, local_day(header.started_utc, header.zone), foil=foil)
    if kept is None:
        return None
    return _kept(PacketFile(kept.name, kept.text), "log book", [] if says is None else says, kept.since)


def counts_since(book: LogBook, packet: PacketModel) -> str | None:
    """Day of the first of the runs that a packet was learned from, as far as the log book lists them."""
    from soakwitness.analysis.logbook.moments import local_day
    from soakwitness.analysis.logbook.runs import runs_listed

    names = [name.strip() for name in packet.fitted_from.split(",")]
    return min((local_day(run.started_utc, run.zone) for run in runs_listed(book, names)), default=None)


def _named(
    book: LogBook | None, header: RunHeader, entry: RunEntry | None, recipe: Recipe, says: list[str]
) -> UsedPacket | None:
    """The packet that recipe or run name; where a file lies beside the recipe, a fault in it is an error."""
    if recipe.measured is None and header.packet_file is None and (entry is None or entry.packet_digest is None):
        return None  # most runs: nothing of packet files is loaded for them
    from soakwitness.analysis.packet.file import PacketFile, named_packet

    beside = named_packet(recipe)
    if beside is not None:
        return used(beside, "recipe", f"{recipe.source}, [packet], measured")
    own = None if header.packet_file is None else PacketFile(header.packet_name or "", header.packet_file)
    file = own
    if book is not None and entry is not None and entry.packet_digest not in (None, own and own.digest):
        from soakwitness.analysis.logbook.packets import packet_file

        file = PacketFile(*packet_file(book, entry.packet_digest or ""))
    if file is None:
        return None
    by_recipe = recipe.measured is not None and Path(recipe.measured).name == file.name
    return _kept(file, "recipe" if by_recipe else "run", says)


def _kept(file: PacketFile, origin: Origin, says: list[str], since: str | None = None) -> UsedPacket | None:
    """A packet that was kept; one that cannot be read is said and left out: nobody can mend it now."""
    try:
        return used(file, origin, since=since)
    except PacketFileError as error:
        says.append(f"The packet file {file.name}, {ORIGIN_WORDS[origin]}, cannot be used: {error}")
        return None
