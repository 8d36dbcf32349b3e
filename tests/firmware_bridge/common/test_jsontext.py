from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.common.jsontext import from_json

BAD = [
    "[" * 100_000, '{"a":' * 100_000, "1" + "0" * 400, "1" + "0" * 5000, "-" + "9" * 5000, "9223372036854775808",
    "1e400", "NaN", "-Infinity", "", b"\xfc", b'{"a": "\xfc"}',
]  # fmt: skip


@pytest.mark.parametrize("text", BAD, ids=lambda text: repr(text[:12]))
def test_what_cannot_be_meant_is_a_value_error(text: str | bytes) -> None:
    with pytest.raises(ValueError, match="."):
        from_json(text)


def test_what_can_be_meant_is_read() -> None:
    assert from_json('{"a": [1, -2.5, 9223372036854775807, null, "1e400"]}') == {
        "a": [1, -2.5, 9223372036854775807, None, "1e400"]
    }
