"""``soakwitness book``: the page of the whole log book, under one address that stays."""

from __future__ import annotations

from pathlib import Path

import click

from soakwitness.cli.options.common import WrongUse, logbook_option
from soakwitness.cli.terminal.beginning import address_words, lan_option, port_option


@click.command()
@lan_option
@port_option
@click.option("--stop", is_flag=True, help="End the book of this log book.")
@logbook_option
def book(lan: bool, port: int | None, stop: bool, logbook: Path) -> None:
    """Serve the log book as pages for a browser, until Ctrl-C: what records now, runs with their verdicts, the guide.

    It is for this computer alone; --lan opens it to phones and tablets in the workshop network, each by a link. The
    address is the last line on stdout.

    Example: soakwitness book --stop
    """
    from soakwitness.cli.telling.book_file import DEFAULT_PORT, running_book, stop_book

    if stop:
        if lan or port is not None:
            raise WrongUse("--lan and --port begin a book, --stop ends one.")
        ended = stop_book(logbook)
        click.echo(f"No book serves {logbook}." if ended is None else f"The book at {ended.address} is ended.")
        return
    if not logbook.is_dir():
        raise WrongUse(f"{logbook}: there is no log book here. Name its folder with --logbook, or record a run first.")
    running = running_book(logbook)
    if running is not None:
        raise WrongUse(f"{logbook} has its book already, at {running.address}. End it first: soakwitness book --stop")
    from soakwitness.cli.book.serving import BookAsked, serve

    def ready(address: str, link: str | None) -> None:
        for words in address_words(address, link):
            click.echo(words, err=True)
        click.echo(address)

    serve(BookAsked(logbook.absolute(), DEFAULT_PORT if port is None else port, lan), ready)
