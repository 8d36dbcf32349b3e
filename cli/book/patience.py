"""How long the book waits for a browser that says nothing, and for how many: a slow one never keeps another out."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

HEADERS_S = 10.0  # so long a request's first part may take, and a connection may idle
BODY_S = 180.0  # a photograph over a weak network
MOST_WAITING = 200


class Patient(H11Protocol):
    """A connection with a limit to what is still to come of a request.

    Where too many wait, the address that has most of them loses the one that waited longest: a browser that asks at
    once is answered, whatever others do. Uvicorn itself limits neither.
    """

    waiting: ClassVar[dict[Patient, None]] = {}
    _limit: asyncio.TimerHandle | None = None
    _stands: str | None = None

    def connection_made(self, transport: Any) -> None:
        """Begin to wait."""
        super().connection_made(transport)
        self._look()

    def handle_events(self) -> None:
        """Take what came."""
        super().handle_events()
        self._look()

    def on_response_complete(self) -> None:
        """Wait for the next."""
        super().on_response_complete()
        self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._set(None)
        super().connection_lost(exc)

    def _look(self) -> None:
        if self.transport.is_closing():
            return self._set(None)
        answering = self.cycle is not None and not self.cycle.response_complete
        if not answering:
            return self._set("waiting")
        self._set("coming" if self.cycle.more_body else None)

    def _set(self, stands: str | None) -> None:
        if stands == self._stands:
            return
        self._stands = stands
        if self._limit is not None:
            self._limit.cancel()
            self._limit = None
        self.waiting.pop(self, None)
        if stands is not None:
            self._limit = self.loop.call_later(HEADERS_S if stands == "waiting" else BODY_S, self._drop)
        if stands == "waiting":
            self.waiting[self] = None
            if len(self.waiting) > MOST_WAITING:
                (address, _), *_ = Counter(one._address for one in self.waiting).most_common(1)
                next(one for one in self.waiting if one._address == address)._drop()

    @property
    def _address(self) -> str:
        return self.client[0] if self.client else ""

    def _drop(self) -> None:
        self._set(None)
        self.transport.abort()
