"""A sheet is one page, A4 and US Letter, printed by a browser and as PDF; what finds no room is in its annex."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.verification.results.verification import Finding, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.cli.sheets.blocks import Sheet
from soakwitness.cli.sheets.contents import MOST_FINDINGS, MOST_PIECES, SheetNotes, sheet_contents
from soakwitness.cli.sheets.writing import Paper, write_sheets
from soakwitness.firmware_bridge.common.wording import Says
from tests.cli.browsers import chromium
from tests.made_runs import made_recipe, made_run, made_verification

SAMPLES = sorted(path.parent for path in (Path(__file__).resolve().parents[2] / "sample_logs").glob("*/run.json"))
SAYS = "The hold at 1040 °C soaked 8.3 min (8.2 to 8.3) at the load sensor (worst of 8 pieces: P-01), 3.7 min short."
NEXT = "Leave it in 3.8 min longer: it came out 11.1 min before the hold was over; decide what becomes of these pieces."


def filled(tmp_path: Path, *, pieces: int, findings: int, sensors: int = 3) -> Sheet:
    """A made run with so many pieces and findings, as long in words as real ones are; hardness on all of them."""
    run = replace(made_run(tmp_path), marks=())
    names = [f"P-{number:02d}" for number in range(1, pieces + 1)]
    found: Verification = made_verification(run)
    hold = found.holds[-1]
    soaks = tuple(replace(hold.pieces[0], piece=name) for name in names)
    flagged = tuple(
        Finding("short soak", "fail", 4, Says.plain(SAYS), Says.plain(NEXT), 4886.0, 6702.0) for _ in range(findings)
    )
    columns = tuple(replace(run.columns[0], name=f"zone {n}", position="back wall, upper row") for n in range(sensors))
    notes = SheetNotes(
        piece_words=[(name, "S44004, 10 mm, stamp H 7") for name in names],
        hardness=[(name, "60.1 HRC after temper (59.9 to 60.4, 3 readings)") for name in names],
        dispositions=[("short soak", "hold back: harden again")],
        seal_digest="SHA-256 " + 64 * "a",
        shop=("Forge of Nobody", "Lane 3, 1010 Nowhere"),
    )
    run = replace(run, header=replace(run.header, zone="Europe/Vienna", columns=columns))
    verification = replace(found, steps=(*found.steps[:-1], replace(hold, pieces=soaks)), findings=flagged)
    return sheet_contents(run, verification, made_recipe(), unit="C", notes=notes)


def sample(folder: Path, *, with_annex: bool = False) -> Sheet:
    run = open_run(folder)
    recipe = parse_recipe(run.header.recipe_file or "", folder.name)
    return sheet_contents(run, verify(run, recipe), recipe, unit=recipe.unit, with_annex=with_annex)


def text_of(path: Path) -> str:
    said = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout
    return " ".join(said.split())


def pages(path: Path) -> int:
    facts = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    return next(int(line.split()[1]) for line in facts.splitlines() if line.startswith("Pages:"))


def size(path: Path) -> str:
    return subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout


def stays_inside(path: Path) -> bool:
    """Whether every word ends before the right margin of its page, a quarter of an inch at least."""
    said = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, text=True, check=True).stdout
    wide = float(re.findall(r'<page width="([0-9.]+)"', said)[0])
    return max(float(end) for end in re.findall(r'xMax="([0-9.]+)"', said)) <= wide - 18.0


def printed(sheets: dict[str, Sheet], tmp_path: Path, paper: Paper) -> dict[str, tuple[Path, Path]]:
    """Each sheet as the browser prints it and as its own PDF."""
    if shutil.which("pdfinfo") is None:
        pytest.skip("poppler-utils is not installed")
    made = {}
    with chromium() as browser:
        tab = browser.new_page()
        for name, sheet in sheets.items():
            page, own, by_browser = (tmp_path / f"{name}{end}" for end in (".html", ".pdf", "-printed.pdf"))
            write_sheets([sheet], page, paper=paper)
            write_sheets([sheet], own, paper=paper)
            tab.goto(page.as_uri())
            by_browser.write_bytes(tab.pdf(prefer_css_page_size=True))
            made[name] = (own, by_browser)
    return made


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_every_sheet_is_one_page(tmp_path: Path, paper: Paper) -> None:
    sheets = {folder.name: sample(folder) for folder in SAMPLES}
    sheets["filled"] = filled(tmp_path, pieces=MOST_PIECES, findings=MOST_FINDINGS)
    sheets["eight sensors"] = filled(tmp_path, pieces=MOST_PIECES, findings=MOST_FINDINGS, sensors=8)
    assert all(not sheet.annex for sheet in sheets.values())
    for name, both in printed(sheets, tmp_path, paper).items():
        for path in both:
            assert (path.name, pages(path)) == (path.name, 1)
            assert stays_inside(path)
            assert f"({paper})" in size(path)
            text = text_of(path)
            assert " ".join(sheets[name].sentence.split()) in text
            assert ("Europe/Vienna" if "H 7" in repr(sheets[name]) else ", UTC") in text
            if name == "filled":
                assert text.count("60.1 HRC") == MOST_PIECES
                assert text.count("3.7 min short.") == MOST_FINDINGS


@pytest.mark.browser
def test_what_finds_no_room_is_in_the_annex(tmp_path: Path) -> None:
    sheet = filled(tmp_path, pieces=MOST_PIECES + 3, findings=MOST_FINDINGS + 2)
    for path in printed({"more": sheet}, tmp_path, "A4")["more"]:
        assert pages(path) == 2
        text = text_of(path)
        for words in ("3 more: see the annex", "2 findings more: see the annex", "P-11", "Further findings"):
            assert words in text


@pytest.mark.browser
def test_an_annex_keeps_its_margins(tmp_path: Path) -> None:
    """The pages are measured one after the other, and drawn in between."""
    sheets = {"gap": sample(next(f for f in SAMPLES if f.name == "gap"), with_annex=True)}
    for path in printed(sheets, tmp_path, "letter")["gap"]:
        assert pages(path) == 2
        assert stays_inside(path)


@pytest.mark.browser
def test_a_phone_and_a_dark_page_read_as_well(tmp_path: Path) -> None:
    """No sideways scrolling at 390 px; on a dark page no word and no line of the chart is as dark as the page."""
    page = tmp_path / "sheet.html"
    write_sheets([filled(tmp_path, pieces=8, findings=10)], page)
    shades = """() => [...document.querySelectorAll("svg text, svg path, h1, td, .item span")].map(e => {
        const s = getComputedStyle(e), drawn = s.stroke != "none" ? s.stroke : s.fill;
        return e.getClientRects().length ? (e instanceof SVGElement ? drawn : s.color) : "none" })"""
    with chromium() as browser:
        for scheme in ("light", "dark"):
            tab = browser.new_page(viewport={"width": 390, "height": 844}, color_scheme=scheme)
            tab.goto(page.as_uri())
            assert tab.evaluate("document.documentElement.scrollWidth") == 390
            seen = set(tab.evaluate(shades)) - {"none"}
            assert ("rgb(0, 0, 0)" in seen) is False
            assert ("rgb(236, 234, 228)" in seen) == (scheme == "dark")  # the dark page's ink, #eceae4
            assert ("rgb(86, 180, 233)" in seen) == (scheme == "dark")  # the chamber, #56b4e9
