"""The house rules that a machine can check: who may import whom, what the wheel must carry, what stays light."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

ROOT = Path(__file__).resolve().parents[2]
WINGS = ("firmware_bridge", "analysis", "cli")
HEAVY = {"numpy", "pandas", "scipy", "matplotlib"}


def python_files(wing: str) -> Iterator[Path]:
    for path in sorted((ROOT / wing).rglob("*.py")):
        if "__pycache__" not in path.parts:
            yield path


def imported(path: Path) -> set[str]:
    """Full dotted names of everything a file imports, wherever in the file."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def tops(names: set[str]) -> set[str]:
    return {name.split(".")[0] for name in names}


@pytest.mark.parametrize("path", list(python_files("firmware_bridge")), ids=lambda p: str(p.relative_to(ROOT)))
def test_the_bridge_imports_only_the_standard_library_and_serial(path: Path) -> None:
    if path.parent.name == "firmware":
        allowed = {"soakwitness", "machine", "time", "utime", "ubinascii", "micropython"} | set(sys.stdlib_module_names)
    else:
        allowed = {"soakwitness", "serial", "minimalmodbus"} | set(sys.stdlib_module_names)
    names = imported(path)
    assert tops(names) <= allowed
    assert not [n for n in names if n.startswith(("soakwitness.analysis", "soakwitness.cli"))]


@pytest.mark.parametrize("path", list(python_files("analysis")), ids=lambda p: str(p.relative_to(ROOT)))
def test_the_analysis_never_talks_to_the_world(path: Path) -> None:
    names = imported(path)
    assert not tops(names) & {"serial", "minimalmodbus", "click", "matplotlib", "jinja2", "socket", "logging"}
    assert not [n for n in names if n.startswith("soakwitness.cli")]
    bridge = {n for n in names if n.startswith("soakwitness.firmware_bridge")}
    allowed = tuple(
        f"soakwitness.firmware_bridge.{room}" for room in ("common", "marks", "runfolder", "furnace", "errors")
    )
    assert not [n for n in bridge if n not in ("soakwitness.firmware_bridge",) and not n.startswith(allowed)]
    if "logbook" not in path.parts:
        assert "sqlite3" not in tops(names)
    if "live" in path.parts:
        assert tops(names) <= set(sys.stdlib_module_names) | {"soakwitness"}
    calls = [n for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Call)]
    assert not [c for c in calls if isinstance(c.func, ast.Name) and c.func.id == "print"]


@pytest.mark.parametrize("wing", WINGS)
def test_every_init_is_light(wing: str) -> None:
    for path in python_files(wing):
        if path.name == "__init__.py":
            top_level = {
                name
                for node in ast.parse(path.read_text(encoding="utf-8")).body
                if isinstance(node, (ast.Import, ast.ImportFrom))
                for name in ([a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or ""])
            }
            assert not tops(top_level) & (HEAVY | {"serial", "minimalmodbus", "jinja2", "sqlite3"}), path


def sentences(path: Path) -> Iterator[str]:
    """Texts of a module that are no documentation."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    documents = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documents:
            yield node.value


@pytest.mark.parametrize("wing", WINGS)
def test_people_read_degrees_as_they_write_them(wing: str) -> None:
    unit = re.compile(r"(?:\d|^|\s)\s(?:degC|degF|K)(?=[\s.,;:/)]|$)")
    assert not [(path.name, says) for path in python_files(wing) for says in sentences(path) if unit.search(says)]


def test_every_folder_with_modules_is_in_the_wheel() -> None:
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["packages"]
    folders = {
        "soakwitness." + ".".join(path.parent.relative_to(ROOT).parts) for wing in WINGS for path in python_files(wing)
    }
    assert folders == set(listed)


def test_the_top_level_holds_what_the_plan_says() -> None:
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listing.returncode != 0:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listing.stdout.splitlines()}
    visible = {name for name in top if not name.startswith(".")}
    plan = {"README.md", "DEVELOPERS.md", "pyproject.toml", "firmware_bridge", "analysis", "cli", "tests"}
    assert visible <= plan | {"sample_logs"}


@pytest.mark.parametrize("module", ["record", "watch", "mark"])
def test_the_recording_commands_load_nothing_heavy(module: str) -> None:
    code = (
        f"import soakwitness.cli.main, soakwitness.cli.options.common, soakwitness.cli.commands.{module}, sys;"
        f"print(sorted({HEAVY!r} & set(sys.modules)))"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"


ORDINARY = {
    "a load sensor": ["verify", "sample_logs/good"],
    "as data": ["verify", "sample_logs/good", "--json"],
    "a packet estimate": ["verify", "{folder}/estimated", "--recipe", "{folder}/packet.toml"],
    "a log book": ["verify", "sample_logs/short-soak", "--logbook", "{folder}/book"],
    "the whole book": ["logbook", "recompute", "--everything", "--processes", "1", "--logbook", "{folder}/book"],
}
ESTIMATED = """
name = "Estimated from the control sensor"
[[step]]
ramp = "full power"
to = 1040
[[step]]
hold_minutes = 10
tolerance = 10
[packet]
thickness_mm = 3.0
"""


@pytest.mark.parametrize("words", list(ORDINARY.values()), ids=list(ORDINARY))
def test_an_ordinary_verdict_loads_numpy_and_nothing_heavier(tmp_path: Path, words: list[str]) -> None:
    """Loading pandas alone takes longer than reading an ordinary run and judging it."""
    (tmp_path / "packet.toml").write_text(ESTIMATED, encoding="utf-8")
    control = [Column("control", "sensor", "C", role="control")]
    run = RunFolder.create(tmp_path / "made", columns=control, furnace_name="front", started_utc=1_790_000_000.0)
    for k in range(500):
        run.write_row(10.0 * k, 1_790_000_000.0 + 10.0 * k, {"control": min(20.0 + 5.0 * k, 1040.0)})
    run.seal(sealed_utc=1_790_005_000.0)
    run.path.rename(tmp_path / "estimated")
    shutil.copytree(ROOT / "sample_logs" / "short-soak", tmp_path / "book" / "runs" / "short-soak")
    code = (
        "import sys; from soakwitness.cli.options.common import run_main; from soakwitness.cli.main import soakwitness;"
        f"status = run_main(soakwitness); print(status, sorted({HEAVY!r} & set(sys.modules)), file=sys.stderr)"
    )
    asked = [word.replace("{folder}", str(tmp_path)) for word in words]
    if "--logbook" not in asked:
        asked += ["--logbook", str(tmp_path / "none")]
    answer = subprocess.run([sys.executable, "-c", code, *asked], capture_output=True, text=True, check=True, cwd=ROOT)
    status, loaded = answer.stderr.strip().splitlines()[-1].split(" ", 1)
    assert status in ("0", "3", "4"), answer.stderr
    assert loaded == "['numpy']"
    assert ("by estimate" in answer.stdout) == ("estimated" in words[1])


def test_the_live_room_loads_nothing_heavy() -> None:
    rooms = sorted(p.stem for p in (ROOT / "analysis" / "live").glob("*.py") if p.stem != "__init__")
    imports = "".join(f"import soakwitness.analysis.live.{room};" for room in rooms)
    code = f"{imports}import sys;print(sorted({HEAVY!r} & set(sys.modules)))"
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"
