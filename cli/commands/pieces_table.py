"""Pieces out of a table of the maker's own: a column ``piece``, and what is known of each."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.common import WrongUse

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.pieces import Piece


def pieces_from(path: Path, given: dict[str, Any]) -> list[Piece]:
    """Pieces of a table, a row each; what is ``given`` counts where a row says nothing."""
    from soakwitness.analysis.logbook.pieces import Piece, spelled_out

    allowed = ("piece", "steel", "lot", "thickness_mm", "stamp", "customer", "order", "note")
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(file)
            unknown = [name for name in reader.fieldnames or () if name not in allowed]
            if unknown or "piece" not in (reader.fieldnames or ()):
                what = f"column {unknown[0]!r} is not known" if unknown else "there is no column piece"
                raise WrongUse(f"{path}: {what}. Columns may be {', '.join(allowed)}.")
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise WrongUse(f"{path} cannot be read as a table: {error}.") from None
    pieces = []
    for line, row in enumerate(rows, start=2):
        (name,) = spelled_out([row["piece"] or ""])
        facts = {k: v for k, v in row.items() if k in allowed[1:] and v}
        if "thickness_mm" in facts:
            facts["thickness_mm"] = _number(facts["thickness_mm"], f"{path} line {line}, thickness_mm")
        pieces.append(Piece(id=name, **{**given, **facts}))
    return pieces


def _number(text: str, where: str) -> float:
    try:
        return float(text)
    except ValueError:
        hint = " Write the decimal point as a point." if "," in text else ""
        raise WrongUse(f"{where}: {text!r} is no number.{hint}") from None
