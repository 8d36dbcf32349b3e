"""What the page knows: the newest state and a thinned history, shared by all browsers' threads."""

from __future__ import annotations

import json
import threading
from typing import Any

MOST_POINTS = 2000


class PageState:
    """Newest state and history.

    A state is a dict with these keys, all optional but ``t_s``:

    ``t_s`` run seconds; ``sentence`` the leading words; ``detail`` further sentences; ``readings`` a list of
    ``{"name", "role", "temp"}`` in the shown unit (``null`` where nothing was had); ``unit`` ``C`` or ``F``;
    ``record`` words about link and record; ``read_ms`` epoch milliseconds of the last reading; ``run`` its name;
    ``recipe`` a list of ``{"target", "lower", "upper", "required_s", "enter_s"}``; ``alarm`` words or null;
    ``sent_ms`` epoch milliseconds when the state was sent; ``at_the_furnace`` how it stands with the pieces
    (``words/furnace_side.py``) or null.
    """

    def __init__(self) -> None:
        self._condition = threading.Condition()
        self._serial = 0
        self._newest: dict[str, Any] = {}
        self._history: list[list[Any]] = []
        self._stride = 1
        self._seen = 0
        self.gone = False

    def add(self, state: dict[str, Any]) -> None:
        """Take a new state and wake whoever waits."""
        with self._condition:
            if state.get("run") != self._newest.get("run"):
                self._history, self._stride, self._seen = [], 1, 0
            self._newest = state
            self._serial += 1
            if self._seen % self._stride == 0:
                self._history.append([state.get("t_s"), *(r.get("temp") for r in state.get("readings", []))])
            self._seen += 1
            if len(self._history) > MOST_POINTS:
                self._history = self._history[::2]
                self._stride *= 2
            self._condition.notify_all()

    def close(self) -> None:
        """Say that the recorder is gone."""
        with self._condition:
            self.gone = True
            self._condition.notify_all()

    def whole(self) -> tuple[int, str]:
        """Serial number and JSON of everything, for a browser that has just come."""
        with self._condition:
            return self._serial, json.dumps({**self._newest, "history": self._history, "gone": self.gone})

    def wait(self, serial: int, timeout_s: float) -> tuple[int, str | None]:
        """Wait for something newer than ``serial``; ``(serial, None)`` when ``timeout_s`` [s] passed without."""
        with self._condition:
            self._condition.wait_for(lambda: self._serial > serial or self.gone, timeout=timeout_s)
            if self._serial == serial and not self.gone:
                return serial, None
            return self._serial, json.dumps({**self._newest, "gone": self.gone})
