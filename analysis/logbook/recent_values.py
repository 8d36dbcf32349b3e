"""What was entered lately, so that it can be picked instead of typed: the newest first, each once."""

from __future__ import annotations

from soakwitness.analysis.logbook.opening import LogBook

# what is picked: the table and the column it stands in
PICKED: dict[str, tuple[str, str]] = {
    "steel": ("piece_facts", "steel"),
    "lot": ("piece_facts", "lot"),
    "thickness_mm": ("piece_facts", "thickness_mm"),
    "place": ("charge_pieces", "place"),
    "fixtures": ("run_loads", "fixtures"),
    "oven": ("treatments", "oven"),
    "tester": ("hardness", "tester"),
    "block": ("hardness", "block_value"),
}


def recent_values(book: LogBook, what: str, *, most: int = 8) -> tuple[str, ...]:
    """Values of one of ``PICKED`` out of entries that stand, as a person writes them."""
    table, column = PICKED[what]
    rows = book.rows(
        f"SELECT {column} AS value FROM {table} WHERE struck_utc IS NULL AND {column} IS NOT NULL AND {column} != '' "
        f"GROUP BY {column} COLLATE NOCASE ORDER BY max(entered_utc) DESC, max(entry) DESC LIMIT ?",
        most,
    )
    return tuple(f"{row['value']:g}" if isinstance(row["value"], float) else str(row["value"]) for row in rows)


def together_with(book: LogBook, piece: str, *, most: int = 40) -> tuple[str, ...]:
    """Pieces that were in the last run of a piece, or wait for one with it; itself first."""
    row = book.row(
        "SELECT charge, run FROM charge_pieces JOIN charges USING (charge) WHERE piece = ? AND struck_utc IS NULL "
        "ORDER BY entry DESC LIMIT 1",
        piece,
    )
    if row is None:
        return (piece,)
    rows = book.rows(
        "SELECT DISTINCT piece FROM charge_pieces JOIN charges USING (charge) WHERE struck_utc IS NULL "
        "AND (charge = ? OR run = ?) ORDER BY piece LIMIT ?",
        row["charge"],
        row["run"],
        most,
    )
    return (piece, *(r["piece"] for r in rows if r["piece"].casefold() != piece.casefold()))
