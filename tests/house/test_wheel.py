"""The wheel, installed into a fresh environment, runs the demo from elsewhere."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def copy_of_the_project(target: Path) -> Path:
    """What git tracks and the index does not miss, copied, so that a build leaves nothing behind in the project."""
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listing.returncode != 0:
        pytest.skip("not a git checkout: the list of the project's files is not known")
    for name in listing.stdout.splitlines():
        if (ROOT / name).is_file() and not name.startswith("tests/"):
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, target / name)
    return target


def dependencies_without_the_project(target: Path) -> Path:
    """A folder of links to what is installed here, without the project itself."""
    target.mkdir()
    for entry in Path(sysconfig.get_paths()["purelib"]).iterdir():
        if "soakwitness" not in entry.name and not entry.name.startswith(("__editable__", "pip", "__pycache__")):
            (target / entry.name).symlink_to(entry)
    return target


def test_the_wheel_runs_the_demo_in_a_fresh_environment(tmp_path: Path) -> None:
    source = copy_of_the_project(tmp_path / "source")
    build = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--no-deps", "--quiet", "--wheel-dir", str(tmp_path), str(source)],
        capture_output=True,
        text=True,
        check=False,
    )
    if build.returncode != 0 and "Could not find a version" in build.stderr:
        pytest.skip("no package index to fetch the build backend from")
    assert build.returncode == 0, build.stderr
    (wheel,) = tmp_path.glob("soakwitness-*.whl")
    venv.create(tmp_path / "fresh", with_pip=True)
    scripts = tmp_path / "fresh" / ("Scripts" if os.name == "nt" else "bin")
    subprocess.run([scripts / "python", "-m", "pip", "install", "--quiet", "--no-deps", str(wheel)], check=True)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    environment = {k: v for k, v in os.environ.items() if not k.startswith("SOAKWITNESS")}
    environment["PYTHONPATH"] = str(dependencies_without_the_project(tmp_path / "dependencies"))
    for more in ([], ["--speed", "55"]):  # a quarter, as the demo advises where others keep the computer busy
        demo = [scripts / "soakwitness", "demo", *more]
        answer = subprocess.run(demo, cwd=elsewhere, env=environment, capture_output=True, text=True, check=False)
        assert answer.returncode == 0, answer.stderr
        if "too busy at that speed" not in answer.stdout:
            break
    assert "Too short" in answer.stdout
    assert list(elsewhere.rglob("samples.csv"))
