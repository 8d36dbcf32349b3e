"""``soakwitness book``: the page of the whole log book, under one address that stays; and who may look at it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import CHART_ENDINGS, Words, WrongUse, check_output, force_option, logbook_option
from soakwitness.cli.terminal.beginning import address_words, lan_option, link_code, port_option

if TYPE_CHECKING:
    from soakwitness.cli.telling.joining import Joined

FILE = click.Path(path_type=Path, dir_okay=False)
FOLDER = click.Path(path_type=Path, file_okay=False, exists=True)


@click.command()
@lan_option
@port_option
@click.option("--https", is_flag=True, help="Encrypt, by an authority of the book's own that devices come to trust.")
@click.option("--certificate", type=FILE, metavar="FILE", help="Encrypt by this certificate instead; with --key.")
@click.option("--key", type=FILE, metavar="FILE", help="Its key.")
@click.option("--recipes", type=FOLDER, help="Folder of recipes to plan runs by, beside those that runs have.")
@click.option("--stop", is_flag=True, help="End the book of this log book.")
@click.option("--device", type=Words(), metavar="NAME", help="Make the link of one device, such as a phone.")
@click.option("--look-only", is_flag=True, help="With --device: it may look, and mark nothing.")
@click.option(
    "--label",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="With --device: a label to print, as .svg, .pdf or .png.",
)
@click.option("--devices", is_flag=True, help="List the devices that have a link.")
@click.option("--withdraw", type=Words(), metavar="NAME", help="Shut a device out, at once.")
@click.option("--install", is_flag=True, help="Print a systemd unit for this user instead, and how to enable it.")
@click.option("--write", is_flag=True, help="With --install: write it.")
@logbook_option
@force_option
@click.pass_context
def book(
    context: click.Context,
    lan: bool,
    port: int | None,
    https: bool,
    certificate: Path | None,
    key: Path | None,
    recipes: Path | None,
    stop: bool,
    device: str | None,
    look_only: bool,
    label: Path | None,
    devices: bool,
    withdraw: str | None,
    install: bool,
    write: bool,
    logbook: Path,
    force: bool,
) -> None:
    """Serve the log book as pages for a browser, until Ctrl-C: what records now, runs with their verdicts, the guide.

    It is for this computer alone; --lan opens it to phones and tablets in the workshop network, each by a link of its
    own that lasts until it is withdrawn. The address is the last line on stdout.

    Example: soakwitness book --device "tablet at the furnace" --label tablet.pdf
    """
    asked = {"--stop": stop, "--device": device is not None, "--devices": devices, "--withdraw": withdraw is not None}
    asked["--install"] = install
    if (certificate is None) != (key is None):
        raise WrongUse("--certificate and --key belong together.")
    serving = lan or https or port is not None or certificate is not None or recipes is not None
    _check(asked, serving=serving, of_device=look_only or label is not None, write=write)
    if stop:
        return _stop(logbook)
    if install:
        return _install(context, logbook, write=write, force=force)
    if not logbook.is_dir():
        raise WrongUse(f"{logbook}: there is no log book here. Name its folder with --logbook, or record a run first.")
    if device is not None:
        return _let_in(logbook, device, look_only=look_only, label=label, force=force)
    if devices:
        return _list(logbook)
    if withdraw is not None:
        from soakwitness.cli.book.devices import Devices

        gone = Devices(logbook).withdraw(withdraw)
        click.echo(f'"{gone.name}" is shut out. Its link opens nothing any more.')
        return
    own = None if certificate is None or key is None else (certificate, key)
    _serve(logbook, lan, port, https, own, recipes)


def _check(asked: dict[str, bool], *, serving: bool, of_device: bool, write: bool) -> None:
    """Refuse options that do not belong together."""
    given = [name for name, is_asked in asked.items() if is_asked]
    if len(given) > 1:
        raise WrongUse(f"{' and '.join(given)}: one at a time.")
    if serving and given and given != ["--install"]:
        raise WrongUse(f"--lan, --port, --https, --certificate and --recipes begin a book, {given[0]} does not.")
    if of_device and given != ["--device"]:
        raise WrongUse("--look-only and --label belong to --device.")
    if write and given != ["--install"]:
        raise WrongUse("--write belongs to --install.")


def _serve(
    logbook: Path, lan: bool, port: int | None, https: bool, given: tuple[Path, Path] | None, recipes: Path | None
) -> None:
    from soakwitness.cli.telling.book_file import DEFAULT_PORT, running_book

    running = running_book(logbook)
    if running is not None:
        raise WrongUse(f"{logbook} has its book already, at {running.address}. End it first: soakwitness book --stop")
    from soakwitness.cli.book.encrypting import Encryption
    from soakwitness.cli.book.serving import BookAsked, serve

    def ready(joined: Joined) -> None:
        for line in link_code(joined):
            click.echo(line, err=True, color=True)
        for words in address_words(joined):
            click.echo(words, err=True)
        click.echo(joined.address)

    port = DEFAULT_PORT if port is None else port
    own = None if given is None else Encryption(*given)
    folder = None if recipes is None else recipes.absolute()
    serve(BookAsked(logbook.absolute(), port, lan, https=https, given=own, recipes=folder), ready)


def _stop(logbook: Path) -> None:
    from soakwitness.cli.telling.book_file import stop_book

    ended = stop_book(logbook)
    click.echo(f"No book serves {logbook}." if ended is None else f"The book at {ended.address} is ended.")


def _let_in(logbook: Path, name: str, *, look_only: bool, label: Path | None, force: bool) -> None:
    """Make a link, and show it as it can be taken."""
    import sys

    from soakwitness.cli.book.devices import RIGHTS_WORDS, Devices, Rights, checked_name
    from soakwitness.cli.terminal.square_code import code_lines
    from soakwitness.cli.words.device_words import device_link

    if label is not None:
        check_output(label, force=force, suffixes=CHART_ENDINGS)
    addresses, words = _where(logbook)
    rights: Rights = "look" if look_only else "mark"
    name = checked_name(name)
    link = device_link(addresses[0], Devices(logbook).add(name, rights))
    if label is not None:
        _write_label(label, name, rights, link)
    for line in code_lines(link, sys.stderr):
        click.echo(line, err=True, color=True)
    click.echo(f'The link of "{name}", which {RIGHTS_WORDS[rights]}. It is shown this once:', err=True)
    click.echo(link)
    for line in words:
        click.echo(line, err=True)


def _where(logbook: Path) -> tuple[list[str], list[str]]:
    """Addresses for a link, the book's own where it runs; and what has to be said of them."""
    from soakwitness.cli.telling.book_file import DEFAULT_PORT, running_book

    running = running_book(logbook)
    if running is not None and running.network:
        others = "".join(f" {address}" for address in running.network[1:])
        return list(running.network), [f"This computer's other addresses:{others}"] if others else []
    from soakwitness.cli.book.listening import in_url, network_addresses

    found = [f"http://{in_url(address)}:{DEFAULT_PORT}/" for address in network_addresses()]
    if not found:
        raise WrongUse("This computer is in no network, so that no device reaches it. Join one first.")
    begin = "soakwitness book --lan" if running is None else "soakwitness book --stop, then soakwitness book --lan"
    return found, [f"The book is not open to the network now, and the link leads nowhere. Open it: {begin}"]


def _write_label(label: Path, name: str, rights: str, link: str) -> None:
    from soakwitness.cli.charts.device_label import write_label

    try:
        write_label(label, name=name, rights=rights, link=link)
        label.chmod(0o600)  # whoever reads it is let in
    except OSError as error:
        raise WrongUse(f"{label} cannot be written: {error.strerror or error}.") from None
    click.echo(f"The label: {label}", err=True)


def _list(logbook: Path) -> None:
    from soakwitness.cli.book.devices import RIGHTS_WORDS, Devices
    from soakwitness.cli.options.entering import shown_time

    there = Devices(logbook).all()
    if not there:
        click.echo('No device has a link. Make one: soakwitness book --device "tablet at the furnace"')
    for d in there:
        seen = "never here" if d.seen_utc is None else f"last here {shown_time(d.seen_utc)}"
        click.echo(f"{d.name}: {RIGHTS_WORDS[d.rights]}, link since {shown_time(d.since_utc)}, {seen}")


def _install(context: click.Context, logbook: Path, *, write: bool, force: bool) -> None:
    from soakwitness.cli.terminal.service import book_unit_text, give_unit, given_words, unit_name

    words = ["book", "--logbook", str(logbook.absolute())]
    words += given_words(context, leave_out=("install", "write", "force", "logbook"))
    give_unit(
        unit_name("book"), book_unit_text(logbook.absolute(), words), write=write, force=force, end_words="End it"
    )
