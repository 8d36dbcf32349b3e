"""The command line's entry: mistyped words."""

from __future__ import annotations

from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from soakwitness.cli.main import COMMANDS, soakwitness
from soakwitness.cli.options.common import Finite


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["verfy"], "No such command 'verfy'. Did you mean 'verify'? The commands are listed by: soakwitness --help"),
        (["furnace", "chek"], "Did you mean 'check'? The commands are listed by: soakwitness furnace --help"),
        (["sensor", "lst"], "Did you mean 'list'? The commands are listed by: soakwitness sensor --help"),
        (["steels", "cld"], "No figures for 'cld'. Did you mean 'cold'?"),
        (["steels", "s4404"], "Did you mean 'S44004'?"),
        (["guide", "marsk"], "No page 'marsk'. Did you mean 'marks'?"),
        (["piece", "hystory"], "No such command 'hystory'. Did you mean 'history'?"),
        (["xyzzy"], "No such command 'xyzzy'. The commands are listed by: soakwitness --help"),
    ],
)
def test_a_mistyped_command_is_answered_with_the_nearest(words: list[str], says: str) -> None:
    done = CliRunner().invoke(soakwitness, words)
    assert done.exit_code == 2
    assert says in done.stderr


def test_a_right_word_is_taken() -> None:
    for name in COMMANDS:
        assert CliRunner().invoke(soakwitness, [name, "--help"]).exit_code == 0


def _commands(group: click.Group, path: str) -> Iterator[tuple[str, click.Command]]:
    for name in group.list_commands(click.Context(group)):
        command = group.get_command(click.Context(group), name)
        assert command is not None
        yield f"{path} {name}", command
        if isinstance(command, click.Group):
            yield from _commands(command, f"{path} {name}")


def test_no_command_takes_what_is_no_number_for_a_number() -> None:
    """``nan`` compares with nothing, so no range refuses it: every number that a person types goes through one type."""
    loose = [
        f"{path} {param.name}"
        for path, command in _commands(soakwitness, "soakwitness")
        for param in command.params
        if isinstance(param.type, click.types.FloatParamType) and not isinstance(param.type, Finite)
    ]
    assert loose == []


@pytest.mark.parametrize("number", ["nan", "inf", "-inf"])
@pytest.mark.parametrize(
    "words",
    [
        ["plan", "harden.toml", "--thickness"],
        ["demo", "--speed"],
        ["piece", "hardness", "B-041", "60", "60", "60", "--block-reading", "60", "--block"],
    ],
)
def test_what_is_no_number_is_refused_by_its_option(words: list[str], number: str) -> None:
    done = CliRunner().invoke(soakwitness, [*words, number])
    assert done.exit_code == 2
    assert words[-1] in done.stderr
    assert number in done.stderr
