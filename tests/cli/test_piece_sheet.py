"""A blade's page: its whole life on one page, nothing of the others, and what is not on record."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.sheets.blocks import Chart, Items, Lines, SheetTable
from soakwitness.cli.sheets.piece_contents import piece_sheet
from soakwitness.cli.sheets.piece_sources import lives_of
from tests.cli.sample_books import sample_book
from tests.cli.test_sheet_pages import pages, printed, text_of

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
TEMPERS = [("2026-03-07T08:00Z", "2026-03-07T10:00Z"), ("2026-03-07T12:00Z", "2026-03-07T14:00Z")]


def say(logbook: Path, words: str, status: int = 0) -> Result:
    answer = CliRunner().invoke(soakwitness, [*shlex.split(words), "--logbook", str(logbook)])
    assert status or answer.exit_code == 0, answer.output
    return answer


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Three blades of two customers in one run; C-02 has its whole life on record, C-03 nothing. All invented."""
    book = tmp_path / "book"
    shutil.copytree(SAMPLES / "pulled-one-by-one", book / "runs" / "pulled-one-by-one")
    say(book, "logbook rebuild")
    say(book, "logbook shop")
    say(book, "piece add C-01 C-02 --steel S44004 --lot 7733 --thickness-mm 3 --customer Huber --batch spring")
    say(book, "piece add C-03 --customer Ilse")
    say(book, "piece charge pulled-one-by-one C-01 C-02 C-03")
    say(book, 'piece treatment "cold treatment" C-02 --start 2026-03-06T11:00Z --lowest -78')
    for start, end in TEMPERS:
        say(book, f"piece treatment temper C-02 --start {start} --end {end} --shown 200")
    block = "--after temper --at 2026-03-07T15:00Z --block 60.3 --block-reading 60.5"
    say(book, f"piece hardness C-02 60.1 60.4 60.0 {block} --spot edge")
    say(book, f"piece hardness C-02 59.0 59.4 59.1 {block} --spot heel")
    return book


def test_a_whole_life_is_on_the_page(shop: Path) -> None:
    """Marks of the run: pulled and 8 s later between the plates, 30 s allowed. Mean of the six readings: 59.67."""
    (life,) = lives_of(shop, ["c-02"])
    sheet = piece_sheet(life)
    assert sheet.sentence == "C-02: 59.7 HRC after temper (59.0 to 60.4, 6 readings)."
    assert sheet.shop == ()
    assert "C-02 was at 1040 °C" in sheet.below[0]
    assert dict(sheet.facts) == {
        "Steel": "S44004", "Lot": "7733", "Thickness": "3 mm", "Customer": "Huber", "Batch": "spring",
    }  # fmt: skip
    steps, hardness = (part for part in sheet.blocks if isinstance(part, SheetTable))
    assert [row[1] for row in steps.rows] == [
        "harden, step 2", "harden, step 4", "quench", "cold treatment", "temper", "temper",
    ]  # fmt: skip
    assert steps.rows[2] == ("2026-03-06 08:43", "quench", "to the plates within 30 s", "after 8 s", "pass")
    assert steps.rows[-1][3] == "until 2026-03-07 14:00, shown 200 °C"
    assert hardness.rows[0] == ("after temper", "edge", "60.1  60.4  60.0", "60.2 HRC", "0.4", "+0.2 on 60.3")
    assert hardness.after == "Over the blade, after temper: 59.0 to 60.4 HRC at 2 places, 1.4 apart."
    for others in ("C-01", "C-03", "Ilse", "dummy"):
        assert others not in repr(sheet)


def test_what_nobody_entered_is_said(shop: Path) -> None:
    (life,) = lives_of(shop, ["C-03"])
    sheet = piece_sheet(life)
    assert sheet.sentence == "C-03: hardness not on record."
    assert sheet.tag == "fail, as read"  # 45 s to the plates, 30 allowed
    missing = next(part.lines[0] for part in sheet.blocks if isinstance(part, Lines) and part.heading)
    assert missing == "Its steel, lot and thickness. Its hardness. Its tempering."
    steps = next(part for part in sheet.blocks if isinstance(part, SheetTable))
    assert steps.rows[-1][3:] == ("after 45 s", "fail")


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_it_is_one_page_with_a_place_to_sign(shop: Path, tmp_path: Path, paper: str) -> None:
    sheets = {life.life.piece.id: piece_sheet(life, shop=("Forge",)) for life in lives_of(shop, ["C-01", "C-02"])}
    for both in printed(sheets, tmp_path, paper).values():  # type: ignore[arg-type]
        for path in both:
            assert pages(path) == 1
            text = text_of(path)
            for words in ("Forge", "Signature", "UTC", "not a certificate of conformity", "Not on record"):
                assert words in text


def test_a_batch_is_a_page_for_each_of_its_blades(shop: Path, tmp_path: Path) -> None:
    if shutil.which("pdfinfo") is None:
        pytest.skip("poppler-utils is not installed")
    out = tmp_path / "spring.pdf"
    say(shop, f"sheet --batch spring --out {out} --paper letter")
    assert pages(out) == 2
    text = text_of(out)
    for words in ("Record of blade C-01", "Record of blade C-02", "Name of the shop", "Street 1"):
        assert words in text
    assert isinstance(say(shop, f"sheet --batch spring --out {out}", 2).exception, SystemExit | WrongUse)


def test_what_was_decided_is_on_the_page_and_why_is_not(tmp_path: Path) -> None:
    """At its finding, of the whole run by itself; reasons are the shop's own, as on a customer's sheet of a run."""
    book = sample_book(tmp_path / "book", "short-soak")
    say(book, 'disposition last --decide "use as it is" --finding "short soak" --step 4 --why "cut-off at 60 HRC"')
    say(book, 'disposition last --decide "use with restriction" --why "no cleaver"')
    (life,) = lives_of(book, ["C-03"])
    sheet = piece_sheet(life)
    (flags,) = (part for part in sheet.blocks if isinstance(part, Items))
    (short,) = (item for item in flags.items if item.text.startswith("Short soak"))
    assert short.more == "Decided use as it is."
    (decided,) = (part for part in sheet.blocks if isinstance(part, Lines) and part.heading == "Decided")
    assert re.fullmatch(r"The whole run of \w+ \d+ \w+ 2026: use with restriction\.", *decided.lines)
    assert "60 HRC" not in repr(flags) + repr(decided)
    assert "cleaver" not in repr(sheet)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("sheet", "say what to print, one of them"),
        ("sheet last --piece C-01", "say what to print, one of them"),
        ("sheet --piece C-01 --customer Huber", "--customer goes with a run"),
        ("sheet --piece X-9 --out x.html", "X-9: no such piece"),
        ("sheet --batch none --out x.html", "none"),
    ],
)
def test_what_cannot_be_printed_is_told(shop: Path, words: str, says: str) -> None:
    answer = say(shop, words, 2)
    assert answer.exit_code != 0
    assert says in answer.output + str(answer.exception)


def test_the_shops_file_is_not_replaced_unasked(shop: Path) -> None:
    (shop / "shop.toml").write_text('name = "Forge"\n')
    assert "exists" in say(shop, "logbook shop", 2).output
    assert (shop / "shop.toml").read_text() == 'name = "Forge"\n'


@pytest.mark.browser
def test_the_map_of_the_blade_stands_on_its_one_page(shop: Path, tmp_path: Path) -> None:
    """Drawn where places were told, and not where only words were: nobody said where on the edge."""
    (life,) = lives_of(shop, ["C-02"])
    assert len([part for part in piece_sheet(life).blocks if isinstance(part, Chart)]) == 1
    for along, readings in ((10, "60.1 60.2 60.4"), (50, "59.8 60.0 60.1"), (90, "57.0 57.1 57.3")):
        say(shop, f"piece hardness C-02 {readings} --after temper --at 2026-03-08T15:00Z --along {along} --across 30")
    (life,) = lives_of(shop, ["C-02"])
    run, blade = (part for part in piece_sheet(life).blocks if isinstance(part, Chart))
    assert (run.own_in, blade.own_in > 0) == (0.0, True)
    for pdf in printed({"blade": piece_sheet(life)}, tmp_path, "A4")["blade"]:
        assert pages(pdf) == 1
        assert "57.1" in text_of(pdf)
    assert (tmp_path / "blade.html").read_text(encoding="utf-8").count('class="blade-map"') == 1
