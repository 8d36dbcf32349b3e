"""What the book takes from elsewhere: exactly the files that were looked at, with their licence beside them."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
import tarfile
from pathlib import Path

import pytest

STATIC = Path(__file__).parents[2] / "cli" / "book" / "static"
VENDOR = STATIC / "vendor"
VERSION = "1.6.32"
# name here, name in the package, SHA-256; taken from npm with `npm pack uplot@1.6.32`
UPLOT = (
    (
        f"uplot-{VERSION}.min.js",
        "dist/uPlot.iife.min.js",
        "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    ),
    (
        f"uplot-{VERSION}.min.css",
        "dist/uPlot.min.css",
        "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
    ),
    ("uplot-LICENSE.txt", "LICENSE", "8f989229699b4fe2f1a0432d0e9edc338a8a911e250e2d1b01ecd770a5f5b1bd"),
)
# what npm says of that version: npm view uplot@1.6.32 dist.integrity
INTEGRITY = "sha512-KIMVnG68zvu5XXUbC4LQEPnhwOxBuLyW1AHtpm6IKTXImkbLgkMy+jabjLgSLMasNuGGzQm/ep3tOkyTxpiQIw=="


def test_the_files_are_the_ones_that_were_looked_at_and_no_others() -> None:
    assert {path.name for path in VENDOR.iterdir()} == {"README.md", *(name for name, _, _ in UPLOT)}
    for name, _, digest in UPLOT:
        assert hashlib.sha256((VENDOR / name).read_bytes()).hexdigest() == digest, name


def test_the_licence_lies_beside_and_allows_it() -> None:
    licence = (VENDOR / "uplot-LICENSE.txt").read_text(encoding="utf-8")
    assert licence.startswith("The MIT License (MIT)")
    assert "The above copyright notice and this permission notice shall be included" in licence
    assert f"(v{VERSION})" in (VENDOR / f"uplot-{VERSION}.min.js").read_text(encoding="utf-8")[:80]
    assert VERSION in (VENDOR / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", sorted(STATIC.rglob("*.js")) + sorted(STATIC.rglob("*.css")), ids=lambda p: p.name)
def test_nothing_is_loaded_from_elsewhere_and_nothing_is_run_out_of_words(path: Path) -> None:
    text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.S)
    elsewhere = set(re.findall(r"(?:https?:)?//[\w.]+[\w/]*", text)) - {"http://www.w3.org/2000/svg"}
    assert not {address for address in elsewhere if "." in address}
    for forbidden in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "new Function",
        "@import",
    ):
        assert forbidden not in text, forbidden


def test_npm_gives_the_same_files_today(tmp_path: Path) -> None:
    """Where there is a registry: its package of this version has the stated digest and holds these very files."""
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("no npm on this machine")
    asked = [npm, "pack", f"uplot@{VERSION}", "--json", "--silent"]
    done = subprocess.run(asked, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)
    if done.returncode != 0:
        pytest.skip("no package registry is reached")
    about = json.loads(done.stdout)[0]
    assert about["integrity"] == INTEGRITY
    with tarfile.open(tmp_path / about["filename"]) as package:
        for name, inside, _ in UPLOT:
            held = package.extractfile(f"package/{inside}")
            assert held is not None
            assert held.read() == (VENDOR / name).read_bytes(), name
