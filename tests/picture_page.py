"""Every kind of picture from the sample logs on one page, to look at before a change of any lands.

``python -m tests.picture_page FOLDER`` draws them with the commands themselves and writes FOLDER/index.html: each in
colour and in grey, sheets as pages of A4, pages as a desktop, a phone and a dark phone see them (with Chromium).
"""

from __future__ import annotations

import html
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from click.testing import CliRunner

from soakwitness.cli.main import soakwitness

SAMPLES = Path(__file__).resolve().parents[1] / "sample_logs"
RUNS = (
    "good",
    "short-soak",
    "overshoot",
    "slow-ramp",
    "pulled-one-by-one",
    "open-circuit",
    "gap",
    "program-differs",
)
HARDNESS = {"P-11": 60.1, "P-12": 59.8, "P-13": 60.3, "P-21": 57.0, "P-22": 56.8}
REFERENCE = "--reference reference --reference-certificate sample_logs/calibration/reference.toml"
HOT = "sample_logs/recipes/chef-blades-hot.toml --count 6 --reaches 600:20,780:32,900:45,1050:80 --at 2026-11-27T08:30Z"
PREPARE = (
    "logbook rebuild",
    "piece add P-11..P-13 --steel S44004 --thickness-mm 3",
    "piece add P-21 P-22 --steel S44004 --thickness-mm 10",
    "piece charge good P-11..P-13 --foil",
    "piece charge short-soak P-21 P-22 --foil",
    *(f"piece hardness {p} {h} {h + 0.2:.1f} {h - 0.2:.1f} --after temper" for p, h in HARDNESS.items()),
)
DRAW = (
    *((f"run-{name}", f"verify sample_logs/{name} --exit-zero --chart {{out}}") for name in RUNS),
    ("run-fahrenheit", "verify sample_logs/overshoot --unit F --exit-zero --chart {out}"),
    ("runs-beside", "runs --compare sample_logs/good sample_logs/short-soak sample_logs/program-differs --chart {out}"),
    ("recipe", "recipe plot sample_logs/recipes/chef-blades-hot.toml --out {out}"),
    ("packet", "packet predict sample_logs/pulled-one-by-one --thickness-mm 5 --chart {out}"),
    ("plan", f"plan {HOT} --chart {{out}}"),
    ("accuracy", f"accuracy sample_logs/calibration/run {REFERENCE} --chart {{out}}"),
    ("survey", "survey sample_logs/calibration/run --sensors survey --band 8 --no-entry --chart {out}"),
    ("audit", "audit --suspect P-21 --suspect P-22 --chart {out}"),
    ("condition", 'condition "shed furnace" --chart {out}'),
    ("calibration", f"calibrate sample_logs/calibration/run {REFERENCE} --chart {{out}}"),  # last: it is entered
    ("calibration-kept", "sensor calibration 1 --chart {out}"),
)
SHEETS = (
    *((f"sheet-{name}", f"sheet sample_logs/{name} --out {{out}}") for name in ("good", "pulled-one-by-one")),
    ("sheet-plan", f"plan {HOT} --sheet {{out}}"),
    ("sheet-blade", "sheet --piece P-21 --out {out}"),
)
VIEWS = {"desktop": (1280, 900, "light"), "phone": (390, 844, "light"), "dark": (390, 844, "dark")}


def draw_all(folder: Path, *, browser: bool = True) -> list[Path]:
    """Draw every picture into a folder and write its page; return the pictures."""
    folder.mkdir(parents=True, exist_ok=True)
    book = folder / "book"
    shutil.rmtree(book, ignore_errors=True)
    for name in RUNS:
        shutil.copytree(SAMPLES / name, book / "runs" / name)
    for words in PREPARE:
        _ask(words, book)
    pictures = [_drawn(folder / f"{name}.png", words, book) for name, words in DRAW]
    pictures.append(_worn_furnace(folder / "condition-worn.png"))
    pictures += [in_grey(picture) for picture in pictures]
    for name, words in SHEETS:
        pdf = _drawn(folder / f"{name}.pdf", words, book)
        pictures += _pages(pdf)
        page = _drawn(folder / f"{name}.html", words, book)
        pictures += _views(page) if browser else []
    rows = "\n".join(
        f'<figure><img src="{p.name}" alt=""><figcaption>{html.escape(p.stem)}</figcaption></figure>'
        for p in sorted(pictures)
    )
    style = "body{font:16px sans-serif}figure{display:inline-block;margin:8px;vertical-align:top}img{max-width:640px}"
    (folder / "index.html").write_text(
        f'<!doctype html><meta charset="utf-8"><title>Pictures</title><style>{style}</style>\n{rows}\n',
        encoding="utf-8",
    )
    return pictures


def _worn_furnace(out: Path) -> Path:
    """The condition of a furnace that loses power after its twentieth run; no sample log is as old."""
    from soakwitness.cli.charts.condition_chart import save_condition_chart
    from tests.analysis.condition.test_judging import over_runs

    save_condition_chart(over_runs(lambda i: {"power": 1.0 - 0.2 * (i - 20) / 26.0}), out)
    return out


def _ask(words: str, book: Path) -> None:
    asked = shlex.split(words.replace("sample_logs/", f"{SAMPLES}/"))
    runner = CliRunner(env={"SOAKWITNESS_LOGBOOK": str(book)})
    answer = runner.invoke(soakwitness, asked, standalone_mode=False)
    if answer.exception is not None:
        raise RuntimeError(f"{words}: {answer.exception}")


def _drawn(out: Path, words: str, book: Path) -> Path:
    _ask(f"{words.format(out=shlex.quote(str(out)))} --force", book)
    return out


def in_grey(picture: Path) -> Path:
    """The same as a grey print shows it (luma of ITU-R BT.601)."""
    import matplotlib.image as image
    import numpy as np

    colours = image.imread(picture)
    grey = colours[..., :3] @ np.array([0.299, 0.587, 0.114])
    out = picture.with_name(f"{picture.stem}-grey.png")
    image.imsave(out, grey, cmap="gray", vmin=0.0, vmax=1.0)
    return out


def _pages(pdf: Path) -> list[Path]:
    """The pages of a PDF as pictures; none where poppler is not installed."""
    if shutil.which("pdftoppm") is None:
        return []
    subprocess.run(["pdftoppm", "-r", "80", "-png", str(pdf), str(pdf.with_suffix(""))], check=True)
    return sorted(pdf.parent.glob(f"{pdf.stem}-[0-9].png"))


def _views(page: Path) -> Iterator[Path]:
    """A page as a desktop, a phone and a dark phone see it."""
    from tests.cli.browsers import chromium

    with chromium() as browser:
        for name, (width, height, scheme) in VIEWS.items():
            tab = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
            tab.goto(page.as_uri())
            out = page.with_name(f"{page.stem}-{name}.png")
            tab.screenshot(path=str(out), full_page=True)
            yield out


if __name__ == "__main__":
    made = draw_all(Path(sys.argv[1] if len(sys.argv) > 1 else "pictures"))
    print(f"{len(made)} pictures: {made[0].parent / 'index.html'}")
