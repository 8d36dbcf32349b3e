"""The page of pictures draws every kind there is, so that a change of one is looked at."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from soakwitness.cli.main import soakwitness
from tests.picture_page import DRAW, SHEETS, draw_all


def drawing(command: click.Command, path: tuple[str, ...], ctx: click.Context) -> Iterator[str]:
    """Commands that draw: with a chart, or with a file that is a picture or a sheet."""
    if isinstance(command, click.Group):
        for name in command.list_commands(ctx):
            sub = command.get_command(ctx, name)
            assert sub is not None
            yield from drawing(sub, (*path, name), ctx)
    elif any("--chart" in option.opts for option in command.params) or path in (("recipe", "plot"), ("sheet",)):
        yield " ".join(path)


def test_every_command_that_draws_is_on_it() -> None:
    every = set(drawing(soakwitness, (), click.Context(soakwitness)))
    assert every >= {"verify", "runs", "survey"}
    drawn = {name for name in every for _, words in (*DRAW, *SHEETS) if words.startswith(f"{name} ")}
    assert every - drawn == set()


def test_the_pictures_are_drawn(tmp_path: Path) -> None:
    pictures = draw_all(tmp_path, browser=False)
    assert len(pictures) >= 2 * len(DRAW)
    for picture in pictures:
        assert picture.read_bytes().startswith(b"\x89PNG")
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert all(picture.name in page for picture in pictures)
