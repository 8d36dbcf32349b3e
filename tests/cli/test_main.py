"""The command line's entry: mistyped words."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import COMMANDS, soakwitness


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
