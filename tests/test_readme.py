"""The README says what is true: its session is what the tool prints, its Python runs, its commands exist."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import COMMANDS, soakwitness

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def fenced(kind: str) -> list[str]:
    blocks = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.M | re.S)
    return [text for name, text in blocks if name == kind]


@pytest.fixture
def beside_the_samples(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(ROOT / "sample_logs", tmp_path / "sample_logs")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SOAKWITNESS_LOGBOOK", raising=False)
    return tmp_path


def test_the_pasted_session_is_what_the_tool_prints(beside_the_samples: Path) -> None:
    (session,) = fenced("")
    command, expected = session.split("\n", 1)
    assert command.startswith("$ soakwitness ")
    answer = CliRunner().invoke(soakwitness, command.removeprefix("$ soakwitness ").split())
    assert answer.stdout.strip() == expected.strip()


def test_its_python_runs(beside_the_samples: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names: dict[str, object] = {}
    blocks = fenced("python")
    assert len([line for line in blocks[0].splitlines() if line]) == 5
    for block in blocks:
        exec(block, names)
    printed = capsys.readouterr().out
    assert "pass" in printed


def test_every_command_it_shows_exists() -> None:
    shown = set(re.findall(r"soakwitness ([a-z]+)", README)) & {word for word in COMMANDS}
    assert {"demo", "record", "verify", "sheet", "import", "guide"} <= shown
    for line in re.findall(r"^    soakwitness (.*?)(?:\s+#.*)?$", README, re.M):
        assert line.split()[0] in COMMANDS


def test_its_pictures_are_there() -> None:
    pictures = re.findall(r"\]\((sample_logs/pictures/[^)]+)\)", README)
    assert len(pictures) >= 2
    assert all((ROOT / picture).is_file() for picture in pictures)


def test_it_names_the_cautions_and_the_licence() -> None:
    for words in ("no safety device", "over-temperature cut-out", "MIT License", "asphyxiate"):
        assert words in README
