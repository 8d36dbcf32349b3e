"""Measured runs that nobody here made (CHECKS.md section 7); tests that need them skip where they are absent."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

FOLDER = Path(__file__).resolve().parents[1] / ".." / "shared" / "reference_data" / "carolfire"


def measured_file(number: int) -> Path:
    """Return the file of one measured run."""
    path = FOLDER / f"CAROLFIRE_PT_{number}.csv"
    if not path.exists():
        pytest.skip(f"{path} is not there")
    return path


def measured_run(number: int, column: str = "Shroud") -> tuple[np.ndarray, np.ndarray]:
    """Return time [s] and temperature [degC] of one measured run."""
    with measured_file(number).open(encoding="utf-8-sig", newline="") as lines:
        rows = list(csv.DictReader(lines))
    return np.array([float(row["Time"]) for row in rows]), np.array([float(row[column]) for row in rows])
