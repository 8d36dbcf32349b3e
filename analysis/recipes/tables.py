"""Reading one table of a file that a person wrote: every mistake names its place, key, value and what is allowed."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from soakwitness.analysis.errors import RecipeError


@dataclass(frozen=True)
class Table:
    """One TOML table with the place it stands at, such as ``recipe.toml, step 3``."""

    place: str
    values: Mapping[str, Any]

    def refuse(self, key: str, why: str) -> NoReturn:
        """Raise the error for one key of this table."""
        shown = f" = {written(self.values[key])}" if key in self.values else ""
        raise RecipeError(f"{self.place}, {key}{shown}: {why}")

    def check_keys(self, allowed: Sequence[str], elsewhere: Mapping[str, str] | None = None) -> None:
        """Refuse unknown keys; ``elsewhere`` maps keys to the place where they belong."""
        for key in self.values:
            if key in allowed:
                continue
            where = (elsewhere or {}).get(key)
            if where:
                self.refuse(key, f"this key belongs {where}; move it there.")
            near = difflib.get_close_matches(key, allowed, n=1, cutoff=0.6)
            hint = f" Did you mean {near[0]}?" if near else ""
            self.refuse(key, f"unknown key.{hint} Allowed here: {', '.join(allowed)}.")

    def number(self, key: str, low: float, high: float, unit: str, *, above: bool = False) -> float | None:
        """Return a finite number between ``low`` and ``high`` (``above``: low itself is refused), None where absent."""
        value = self.values.get(key)
        if value is None:
            return None
        limits = f"{'above' if above else 'from'} {low:g} {'and at most' if above else 'to'} {high:g} {unit}".rstrip()
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            self.refuse(key, f"must be a number, {limits}.")
        number = float(value)
        if not math.isfinite(number) or number < low or number > high or (above and number == low):
            self.refuse(key, f"must be {limits}.")
        return number

    def whole(self, key: str, low: int, high: int) -> int | None:
        """Return a whole number between ``low`` and ``high``, None where absent."""
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.refuse(key, f"must be a whole number from {low} to {high}.")
        return value

    def text(self, key: str) -> str | None:
        """Return a text that is not empty, None where absent."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            self.refuse(key, "must be a text in quotes, not empty.")
        return value.strip()

    def choice(self, key: str, allowed: Sequence[str]) -> str | None:
        """Return one of the allowed words, None where absent."""
        value = self.values.get(key)
        if value is None:
            return None
        if value not in allowed:
            self.refuse(key, f"must be one of {', '.join(written(word) for word in allowed)}.")
        return str(value)

    def flag(self, key: str, default: bool) -> bool:
        """Return true or false."""
        value = self.values.get(key, default)
        if not isinstance(value, bool):
            self.refuse(key, "must be true or false.")
        return value

    def table(self, key: str) -> Table | None:
        """Return the table below ``key``, None where absent."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.refuse(key, f"must be a table: a line [{key}] with its keys below.")
        return Table(f"{self.place}, [{key}]", value)


def written(value: object) -> str:
    """Show a value as it would stand in the file, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
