"""The command steels as a person runs it."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner, Result

from soakwitness.cli.commands.steels import steels


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(steels, [str(word) for word in words])


def test_steels_list_show_add_cold(tmp_path: Path) -> None:
    book = ["--logbook", str(tmp_path)]
    assert "1.2842 (also, from memory: EN 1.2842; confirm)" in run(*book).stdout
    shown = run("440C", "--unit", "F", *book).stdout
    assert "harden: 1850 °F to 1949 °F (AS 2837)." in shown
    assert "Confirm with your supplier's certificate." in shown
    unknown = run("shop-7", *book)
    assert (unknown.exit_code, "There are: S44004" in unknown.stderr) == (2, True)
    words = ["--what", "temper", "--temp", "392", "--unit", "F", "--hrc", "60", "--source", "certificate"]
    assert run("add", "shop-7", *words, *book).exit_code == 0
    assert "temper: 200 °C, 60 HRC (certificate)." in run("shop-7", *book).stdout
    assert run("add", "shop-8", "--also", "lot 3", *words, *book).exit_code == 0
    assert "shop-8 (also lot 3)\n" in run("shop-8", *book).stdout
    assert run("add", "shop-7", "--what", "temper", "--to", "200", "--source", "x", *book).exit_code == 2
    assert "about 15 % austenite left at 25 °C" in run("cold", "--ms", "200", "--temp", "-80").stdout
    refused = str(run("cold", "--temp", "-80").exception)
    assert "composition of the matrix" in refused
    assert "--ms" in refused
