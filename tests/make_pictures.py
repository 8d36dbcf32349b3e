"""Makes the README's pictures from the sample logs: ``python tests/make_pictures.py`` (needs Chromium for the page)."""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))
PICTURES = ROOT / "sample_logs" / "pictures"
RUN = ROOT / "sample_logs" / "short-soak"
RECIPE = ROOT / "sample_logs" / "recipes" / "paring-blades.toml"


def run_chart() -> None:
    """The chart of a run whose control sensor looks perfect."""
    from soakwitness.analysis.recipes.recipe_file import load_recipe
    from soakwitness.analysis.record.run import open_run
    from soakwitness.analysis.verification.verifying import verify
    from soakwitness.cli.charts.run_chart import save_run_chart

    run, recipe = open_run(RUN), load_recipe(RECIPE)
    save_run_chart(run, verify(run, recipe), recipe, PICTURES / "run.png")


def live_page() -> None:
    """The book's page at the moment of the pull, of a recording of the simulated furnace; it takes two minutes."""
    from tests.cli.browsers import chromium
    from tests.recorders import recorder, run_for_real, simulated_furnace

    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        folder = Path(place)
        furnace = simulated_furnace(folder).name
        words = ["record", furnace, "--recipe", str(RECIPE), "--page", "--port", "0", "--speed", "60"]
        with recorder(*words, "--logbook", "book", cwd=folder) as running:
            address = running.wait_for("The book: ").split("The book: ")[1].strip()
            running.wait_for(" start: ")
            run_for_real("mark", "load", "B-1", "B-2", "B-3", "--logbook", "book", cwd=folder)
            running.wait_for("alarm: soak complete")
            tab = browser.new_page(viewport={"width": 1000, "height": 760})
            tab.goto(address)
            tab.locator(".sentence", has_text="comes out").wait_for()
            tab.locator(".sentence", has_text="now").wait_for()
            tab.screenshot(path=str(PICTURES / "page.png"))
        run_for_real("book", "--stop", "--logbook", "book", cwd=folder)


def audit_chart() -> None:
    """The audit of thick blades that came out soft, beside good ones; the batches are made, with a known cause."""
    from datetime import UTC, datetime

    from click.testing import CliRunner

    from soakwitness.cli.main import soakwitness
    from tests import bad_batches

    with tempfile.TemporaryDirectory() as place:
        shop = bad_batches.Shop.opened(Path(place), datetime(2026, 1, 5, 7, 0, tzinfo=UTC))
        shop.logged_tempers = False
        story = bad_batches.bad_batch(300, make=bad_batches.packet_lag)
        names = shop.enter(shop.furnish(replace(story, temper_logged=False), good=5), rename="chef")
        shop.book.close()
        asked = ["audit", "--suspect", *names, "--chart", str(PICTURES / "audit.png"), "--force", "--logbook", place]
        answer = CliRunner().invoke(soakwitness, asked)
        if answer.exit_code:
            sys.exit(answer.output)


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    run_chart()
    audit_chart()
    live_page()
