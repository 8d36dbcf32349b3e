"""``soakwitness guide``: short pages in the terminal."""

from __future__ import annotations

import sys

import click

from soakwitness.cli.guide.pages import ABOUT, ORDER, fitting_pages, page_text, page_titles
from soakwitness.cli.options.common import WrongUse, nearest


@click.command()
@click.argument("topic", nargs=-1)
def guide(topic: tuple[str, ...]) -> None:
    """Show a page of the guide; without TOPIC the list of pages. TOPIC may be a command too.

    Example: soakwitness guide recipe
    """
    if not topic:
        for name, title in page_titles():
            click.echo(f"  {name:<14} {title}")
        click.echo("\nRead one with: soakwitness guide TOPIC")
        return
    page = page_text(_page(" ".join(topic)))
    if sys.stdout.isatty():
        click.echo_via_pager(page)
    else:
        click.echo(page, nl=False)


def _page(topic: str) -> str:
    """Name of the one page that fits."""
    found = fitting_pages(topic)
    if not found:
        raise WrongUse(
            f"No page {topic!r}.{nearest(topic, ORDER) or nearest(topic, ABOUT)} There are: {', '.join(ORDER)}."
        )
    if len(found) > 1:
        raise WrongUse(f"Several pages fit {topic!r}: {', '.join(found)}. Give more of the name.")
    return found[0]
