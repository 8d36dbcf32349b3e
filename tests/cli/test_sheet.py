"""The run sheet: every word escaped, one page in print, nothing of other customers' pieces."""

from __future__ import annotations

import shlex
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.cli.main import soakwitness
from soakwitness.cli.sheets.blocks import Sheet, SheetTable
from soakwitness.cli.sheets.contents import SheetNotes, sheet_contents
from soakwitness.cli.sheets.writing import Paper, write_sheet
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.cli.browsers import chromium
from tests.made_runs import INJECTED, made_recipe, made_run, made_verification


def write(tmp_path: Path, name: str, *, words: str = "", notes: SheetNotes | None = None, paper: Paper = "A4") -> Path:
    run = made_run(tmp_path, words=words)
    path = tmp_path / name
    write_sheet(run, made_verification(run, words=words), made_recipe(f"Paring{words}"), path, notes=notes, paper=paper)
    return path


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[str] = []
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "xlink:href")]


def test_every_text_a_user_can_type_comes_out_as_text(tmp_path: Path) -> None:
    notes = SheetNotes(
        title=f"Sheet {INJECTED}",
        dispositions=[("short soak", INJECTED)],
        piece_words=[(f"P-01{INJECTED}", INJECTED)],
        sensors=[("chamber", INJECTED, INJECTED)],
        customer=INJECTED,
    )
    text = write(tmp_path, "sheet.html", words=INJECTED, notes=notes).read_text(encoding="utf-8")
    tags = Tags()
    tags.feed(text)
    assert "script" not in tags.seen
    assert "svg" in tags.seen
    assert text.count("&lt;script&gt;") >= 9
    assert all(address.startswith("#") for address in tags.addresses)


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 390, 1200])
def test_the_sheet_opens_offline_without_a_complaint(tmp_path: Path, width: int) -> None:
    path = write(tmp_path, "sheet.html", words=INJECTED)
    with chromium() as browser:
        tab = browser.new_page(viewport={"width": width, "height": 900})
        problems: list[str] = []
        tab.on("console", lambda message: problems.append(message.text))
        tab.on("request", lambda request: problems.append(request.url) if request.url != path.as_uri() else None)
        tab.goto(path.as_uri())
        assert tab.text_content(".tag") == "fail, as read"
        assert tab.text_content("h1").startswith("Too short: the blade was at 1040")
        assert tab.evaluate("window.broken") is None
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        assert not problems


def test_the_pdf_carries_words_not_pictures_of_words(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    path = write(tmp_path, "sheet.pdf")
    text = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout
    for words in ("fail, as read", "short soak", "P-01", "not a certificate of conformity", "no safety device"):
        assert words in text
    pictures = subprocess.run(["pdfimages", "-list", path], capture_output=True, text=True, check=True).stdout
    assert len(pictures.splitlines()) == 2  # the heading alone: no raster image


def test_a_customers_sheet_leaves_out_the_others_pieces(tmp_path: Path) -> None:
    run = made_run(tmp_path)
    run = replace(run, marks=(*run.marks, Mark(6720.0, "pull", ("Q-77",), note="for somebody else")))
    verification = made_verification(run)
    hold = verification.holds[-1]
    other = replace(hold.pieces[0], piece="Q-77")
    steps = (*verification.steps[:-1], replace(hold, pieces=(*hold.pieces, other)))
    notes = SheetNotes(pieces=["P-01"], customer="A. Nobody")
    contents = sheet_contents(run, replace(verification, steps=steps), made_recipe(), unit="C", notes=notes)
    everything = repr(contents)
    assert "P-01" in everything
    assert "Q-77" not in everything
    assert "somebody else" not in everything


@pytest.mark.parametrize(
    ("source", "words"),
    [("control", "at the control sensor, not in the blade"), ("packet estimate", "estimated in the packet")],
)
def test_measured_and_estimated_are_told_apart(tmp_path: Path, source: str, words: str) -> None:
    run = made_run(tmp_path)
    verification = replace(made_verification(run), temperature_from=source)  # type: ignore[arg-type]
    assert words in " ".join(sheet_contents(run, verification, made_recipe(), unit="C").below)


def table(contents: Sheet, heading: str) -> SheetTable:
    return next(part for part in contents.blocks if isinstance(part, SheetTable) and part.heading == heading)


def test_each_hold_says_where_its_soak_was_measured(tmp_path: Path) -> None:
    run = made_run(tmp_path)
    verification = made_verification(run)
    sources = iter(("control", "packet estimate"))
    steps = tuple(
        replace(step, temperature_from=next(sources)) if step.kind == "hold" else step for step in verification.steps
    )
    contents = sheet_contents(run, replace(verification, steps=steps), made_recipe(), unit="C")
    holds = [row[2] for row in table(contents, "Asked and had").rows if row[1].startswith("hold")]
    assert [" at the control sensor" in words for words in holds] == [True, False]
    assert [" estimated in the packet" in words for words in holds] == [False, True]
    assert "ILAC-G8:09/2019, JCGM 106:2012" in repr(contents)


def charge_rows(tmp_path: Path, *, lost: tuple[int, ...], notes: SheetNotes | None = None) -> list[tuple[str, ...]]:
    """The charge on the sheet of a run in which these steps were not found."""
    run = made_run(tmp_path)
    found = made_verification(run)
    steps = tuple(
        replace(step, found=False, pieces=(), verdict="fail") if step.step in lost and step.kind == "hold" else step
        for step in found.steps
    )
    contents = sheet_contents(run, replace(found, steps=steps), made_recipe(), unit="C", notes=notes)
    return list(table(contents, "Pieces").rows)


def test_the_charge_is_listed_also_where_a_hold_was_not_found(tmp_path: Path) -> None:
    (row,) = charge_rows(tmp_path, lost=(4,))
    assert row == ("P-01", "07:00", "08:51", "12 s", "step 4: not found", "not on record", "fail")
    (found,) = charge_rows(tmp_path, lost=())
    assert found[4] == "step 4: 18.7 of 25 min"
    assert found[6] == "fail"


def test_pieces_that_only_the_log_book_knows_are_listed_too(tmp_path: Path) -> None:
    notes = SheetNotes(charge=[PieceInfo("P-01", charge="1"), PieceInfo("P-02", charge="1")])
    rows = {row[0]: row for row in charge_rows(tmp_path, lost=(4,), notes=notes)}
    assert rows["P-02"][1:4] == ("07:00", "not on record", "not on record")
    other = charge_rows(tmp_path, lost=(4,), notes=replace(notes, pieces=["P-02"]))
    assert [row[0] for row in other] == ["P-02"]


def test_fahrenheit_limits_are_converted_and_differences_are_not_shifted(tmp_path: Path) -> None:
    run = made_run(tmp_path)
    steps = table(sheet_contents(run, made_verification(run), made_recipe(), unit="F"), "Asked and had")
    hold = steps.rows[3]
    assert hold[1].endswith("1904 °F")  # 1040 x 1.8 + 32
    assert "0.9 °F above" in hold[2]  # 0.5 x 1.8


def command(logbook: Path, words: str) -> Result:
    answer = CliRunner().invoke(soakwitness, [*shlex.split(words), "--logbook", str(logbook)])
    assert answer.exit_code == 0, answer.output
    return answer


@pytest.fixture
def two_customers(tmp_path: Path) -> Path:
    """A log book with a run in which two customers' pieces lay; names and decisions are invented."""
    samples = Path(__file__).resolve().parents[2] / "sample_logs"
    logbook = tmp_path / "book"
    shutil.copytree(samples / "short-soak", logbook / "runs" / "short-soak")
    command(logbook, "logbook rebuild")
    command(logbook, "piece add P-01 --steel S44004 --thickness-mm 10 --customer Huber --stamp 'H 7'")
    command(logbook, "piece add P-02 --steel S44004 --thickness-mm 3 --customer Ilse")
    command(logbook, "piece charge short-soak P-01 P-02 --foil")
    command(logbook, "disposition short-soak --finding 'short soak' --step 4 --decide 'hold back' --why 'harden again'")
    return logbook


def test_the_log_book_adds_pieces_and_decisions(two_customers: Path, tmp_path: Path) -> None:
    command(two_customers, f"sheet short-soak --annex --out {tmp_path / 'all.html'}")
    text = (tmp_path / "all.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    comparison = "Step 4, sensor load. As 10"
    for words in (
        "P-01 (S44004, 10 mm, stamp H 7)",
        "P-02 (S44004, 3 mm)",
        "hold back: harden again",
        "SHA-256",
        comparison,
    ):
        assert words in text


def test_a_customer_gets_a_sheet_of_their_own(two_customers: Path, tmp_path: Path) -> None:
    """His finding stays with its sentence; the other's name, the shop's next act and its reasons do not."""
    command(two_customers, "piece hardness P-02 57.2 57.6 57.4 --after temper --at 2027-01-01T12:00Z")
    command(two_customers, f"sheet short-soak --customer ilse --annex --out {tmp_path / 'ilse.html'}")
    text = (tmp_path / "ilse.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    for words in ("Too short: P-02 was at 1040 °C", "Short soak: The hold at 1040 °C", "Decided hold back."):
        assert words in text
    assert "57.4 HRC after temper (57.2 to 57.6, 3 readings)" in text
    for words in ("P-01", "Huber", "harden again", "decide about", "Calibrate", "Foil edges cut"):
        assert words not in text
    refused = CliRunner().invoke(
        soakwitness, ["sheet", "short-soak", "--customer", "Nobody", "--logbook", str(two_customers)]
    )
    assert isinstance(refused.exception, LogBookError)
    assert refused.exception.exit_code == 2
    assert "Huber" in str(refused.exception)


def test_pieces_stand_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    notes = SheetNotes(charge=[PieceInfo(name, charge="1") for name in ("P-10", "p-2", "A-3", "P-01")])
    run = made_run(tmp_path)
    rows = table(sheet_contents(run, made_verification(run), made_recipe(), unit="C", notes=notes), "Pieces").rows
    assert [row[0] for row in rows] == ["A-3", "P-01", "p-2", "P-10"]
