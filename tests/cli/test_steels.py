"""The command steels as a person runs it."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner, Result

from soakwitness.cli.commands.steels import steels


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(steels, [str(word) for word in words])


def test_steels_list_show_add_cold(tmp_path: Path) -> None:
    book = ["--logbook", str(tmp_path)]
    assert "1.2842 (also, from memory: EN 1.2842, 90MnCrV8; confirm)" in run(*book).stdout
    shown = run("440C", "--unit", "F", *book).stdout
    assert "harden: 1850 °F to 1949 °F (AS 2837; standard)." in shown
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


def test_a_suppliers_sheet_is_kept_with_its_day_and_never_written_over(tmp_path: Path) -> None:
    book, sheet = tmp_path / "book", tmp_path / "shop-7.pdf"
    sheet.write_bytes(b"as delivered")
    words = ["add", "shop-7", "--source", "maker", "--dated", "2026-03-01", "--sheet", sheet, "--logbook", book]
    done = run(*words, "--what", "quench", "--note", "oil")
    assert done.exit_code == 0, done.output
    assert "quench: oil (maker, 2026-03-01, shop-7.pdf)." in done.stdout
    assert (book / "steel-sheets" / "shop-7.pdf").read_bytes() == b"as delivered"
    assert run(*words, "--what", "harden", "--temp", "1050").exit_code == 0  # the same sheet again
    sheet.write_bytes(b"another")
    refused = run(*words, "--what", "temper", "--temp", "200")
    assert "another sheet has this name" in str(refused.exception)
    assert (book / "steel-sheets" / "shop-7.pdf").read_bytes() == b"as delivered"
    assert "temper" not in run("shop-7", "--logbook", book).stdout
    assert run("add", "x", "--what", "quench", "--source", "me", "--logbook", book).exception is not None
