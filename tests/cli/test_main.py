"""The command line's entry: mistyped words."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import COMMANDS, soakwitness


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["verfy"], "No such command 'verfy'. Did you mean 'verify'?"),
        (["furnace", "chek"], "No such command 'chek'. Did you mean 'check'?"),
        (["piece", "hystory"], "No such command 'hystory'. Did you mean 'history'?"),
        (["xyzzy"], "No such command 'xyzzy'.\n"),
    ],
)
def test_a_mistyped_command_is_answered_with_the_nearest(words: list[str], says: str) -> None:
    done = CliRunner().invoke(soakwitness, words)
    assert done.exit_code == 2
    assert says in done.stderr


def test_a_right_word_is_taken() -> None:
    for name in COMMANDS:
        assert CliRunner().invoke(soakwitness, [name, "--help"]).exit_code == 0
