"""``soakwitness guide``: short pages in the terminal."""

from __future__ import annotations

import sys

import click

from soakwitness.cli.common import WrongUse
from soakwitness.cli.guide.pages import find_page, page_titles


@click.command()
@click.argument("topic", required=False)
def guide(topic: str | None) -> None:
    """Show a page of the guide; without TOPIC the list of pages.

    Example: soakwitness guide recipe
    """
    if topic is None:
        for name, title in page_titles():
            click.echo(f"  {name:<14} {title}")
        click.echo("\nRead one with: soakwitness guide TOPIC")
        return
    page = find_page(topic)
    if page is None:
        names = ", ".join(name for name, _ in page_titles())
        raise WrongUse(f"No page {topic!r}. There are: {names}.")
    if sys.stdout.isatty():
        click.echo_via_pager(page)
    else:
        click.echo(page, nl=False)
