"""The shop's own file: what it may say, and how a mistake in it is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.shop_file import TEMPLATE, Shop, read_shop


def test_name_and_address_are_read_in_the_order_of_print(tmp_path: Path) -> None:
    assert read_shop(tmp_path) is None
    (tmp_path / "shop.toml").write_text('mail = "a@example.org"\nname = "Forge"\naddress = ["Lane 3", "1010 Town"]\n')
    assert read_shop(tmp_path) == Shop("Forge", ("Lane 3", "1010 Town", "a@example.org"))


def test_the_template_can_be_read_as_it_is_and_with_every_note_taken(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text(TEMPLATE)
    assert read_shop(tmp_path) == Shop("Name of the shop", ("Street 1", "1010 Town"))
    file.write_text(
        TEMPLATE.replace("\n# phone", "\nphone").replace("\n# mail", "\nmail").replace("\n# note", "\nnote")
    )
    shop = read_shop(tmp_path)
    assert shop is not None
    assert len(shop.lines) == 5


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('name = "F"\nadress = ["x"]\n', 'line 2, adress = ["x"]: unknown key. Did you mean address?'),
        ('address = ["x"]\n', "name: is missing"),
        ('name = ""\n', 'line 1, name = "": must be the shop\'s name in quotes, not empty.'),
        ('name = "F"\naddress = "x"\n', 'line 2, address = "x": must be texts in brackets'),
        ("name = F\n", "line 1, column 8: not a valid TOML file"),
    ],
)
def test_a_mistake_names_its_line_and_what_is_allowed(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "shop.toml").write_text(text)
    with pytest.raises(LogBookError) as told:
        read_shop(tmp_path)
    assert says in str(told.value)
    assert "shop.toml" in str(told.value)
