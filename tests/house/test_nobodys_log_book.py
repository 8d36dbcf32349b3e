"""The tests leave the log book of the person who runs them alone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CULPRITS = (
    "tests/cli/test_demo.py::test_what_it_names_is_there",
    "tests/cli/test_record.py::test_a_run_that_was_killed_is_gone_on_with",
    "tests/house/test_nobodys_log_book.py::test_no_place_of_a_person_is_left",
)


def test_no_place_of_a_person_is_left() -> None:
    assert not [name for name in os.environ if name.startswith("SOAKWITNESS")]
    assert not list(Path.cwd().glob("soakwitness-logbook/*"))
    asked = "from pathlib import Path; from soakwitness.cli.terminal.service import unit_folder; print(unit_folder())"
    answer = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert not Path(answer.stdout.strip()).is_relative_to(Path.home())


def test_a_log_book_that_is_named_stays_empty(tmp_path: Path) -> None:
    book, home = tmp_path / "book", tmp_path / "home"
    here = tmp_path / "here"
    for folder in (book, home, here / "soakwitness-logbook"):
        folder.mkdir(parents=True)
    before = {
        **os.environ,
        "SOAKWITNESS_LOGBOOK": str(book),
        "SOAKWITNESS_USER": "Ana",
        "HOME": str(home),
        "XDG_CONFIG_HOME": str(home / "config"),
    }
    words = [sys.executable, "-m", "pytest", "-n", "0", "-p", "no:cacheprovider", "--rootdir", str(ROOT)]
    words += ["-c", str(ROOT / "pyproject.toml"), *(str(ROOT / one) for one in CULPRITS)]
    answer = subprocess.run(words, cwd=here, env=before, capture_output=True, text=True, check=False)
    assert answer.returncode == 0, answer.stdout
    assert f"{len(CULPRITS)} passed" in answer.stdout
    assert not [path for folder in (book, here / "soakwitness-logbook") for path in folder.iterdir()]
    assert not list(home.rglob("*soakwitness*"))
