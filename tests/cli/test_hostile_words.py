"""Words nobody means are told in one line: bytes of another encoding, numbers without end, keys of 50,000 parts."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.common.tables import parse
from soakwitness.firmware_bridge.errors import FurnaceFileError

COMMAND = [sys.executable, "-c", "from soakwitness.cli.main import main; main()"]


def said(folder: Path, *words: bytes) -> subprocess.CompletedProcess[bytes]:
    book = b"--logbook=" + bytes(folder / "book")
    return subprocess.run([*(w.encode() for w in COMMAND), *words, book], capture_output=True, check=False)


@pytest.mark.skipif(sys.platform == "win32", reason="the command line is text there")
def test_words_in_another_encoding_are_one_line(tmp_path: Path) -> None:
    for words in ([b"piece", b"add", b"B-\xfc"], [b"piece", b"find", b"--customer", b"M\xfcller"]):
        done = said(tmp_path, b"piece", b"add", b"B-1")
        done = said(tmp_path, *words)
        assert done.returncode == 2
        assert b"is no text in UTF-8" in done.stderr
        assert b"Traceback" not in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="names of files are text there")
def test_a_file_s_name_may_hold_any_bytes(tmp_path: Path) -> None:
    out = bytes(tmp_path / "out") + b"-\xfc"
    said(tmp_path, b"piece", b"add", b"B-1")
    done = said(tmp_path, b"logbook", b"export", out)
    assert done.returncode == 0, done.stderr
    assert out in done.stdout


def test_a_number_beyond_what_is_kept_is_one_line(tmp_path: Path) -> None:
    said(tmp_path, b"piece", b"add", b"B-1")
    for words in ([b"condition", b"left", b"--runs"], [b"sensor", b"withdraw", b"--why", b"x"]):
        done = said(tmp_path, *words, b"1" * 400)
        assert done.returncode == 2
        assert b"Traceback" not in done.stderr


DEEP = [
    ".".join("a" * 50_000) + " = 1\n",
    "[" + ".".join("a" * 50_000) + "]\n",
    "x = {" + " . ".join("a" * 50_000) + " = 1}\n",
    ".".join(['"a"'] * 50_000) + " = 1\n",
    "\n".join("a." + "b." * 200 + f"c{k} = 1" for k in range(200)),
]


@pytest.mark.parametrize("text", DEEP, ids=["key", "head", "inline", "quoted", "many"])
def test_a_key_of_50_000_parts_is_refused_at_once(text: str) -> None:
    begun = time.monotonic()
    with pytest.raises(FurnaceFileError, match="line 1: a key of more than 20 parts"):
        parse(text, "x.toml", FurnaceFileError)
    assert time.monotonic() - begun < 5.0


def test_long_texts_are_no_deep_keys() -> None:
    begun = time.monotonic()
    long = "a" * 500_000
    assert parse(f'x = "{long}"\ny = "{"1.5 " * 1000}"\n', "x.toml", FurnaceFileError) is not None
    assert time.monotonic() - begun < 5.0
