"""Tells an address of the person's own choice of an alarm: ``python -m soakwitness.firmware_bridge.recording.posting``.

A process of its own, started and bounded like an alarm's command: the recorder never waits for a network. It finds the
address and what to tell in its environment. One short JSON message; redirects are not followed, an answer is not read.
"""

from __future__ import annotations

import json
import os
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Mapping
from pathlib import PurePath
from typing import Any

from soakwitness.firmware_bridge.furnace.post_address import why_no_address

ADDRESS = "SOAKWITNESS_POST"
POSTING = (sys.executable, "-m", "soakwitness.firmware_bridge.recording.posting")
TIMEOUT_S = 8.0
AGAIN_S = 4.0  # a second and last time, so long after the first
LONGEST_SAYS = 500
NOT_REACHED, REFUSED = 3, 4  # exit statuses
WHY = {NOT_REACHED: "it was not reached", REFUSED: "it did not take it"}


def message(facts: Mapping[str, str]) -> dict[str, Any]:
    """What is told: which alarm, its sentence, furnace and run; no path, no name of a person."""
    run = facts.get("SOAKWITNESS_RUN", "")
    return {
        "alarm": facts.get("SOAKWITNESS_ALARM", ""),
        "says": facts.get("SOAKWITNESS_SAYS", "")[:LONGEST_SAYS],
        "furnace": facts.get("SOAKWITNESS_FURNACE", ""),
        "run": PurePath(run).name or None,
    }


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args: Any, **more: Any) -> None:
        """Nowhere else than to the address that was chosen."""
        return


def post(address: str, told: Mapping[str, Any]) -> int:
    """Send it once; the exit status."""
    if why_no_address(address) is not None:
        return REFUSED
    data = json.dumps(told, ensure_ascii=False).encode()
    kind = {"Content-Type": "application/json; charset=utf-8", "User-Agent": "soakwitness"}
    request = urllib.request.Request(address, data, kind, method="POST")  # noqa: S310 (its scheme was looked at)
    try:
        with urllib.request.build_opener(_NoRedirect).open(request, timeout=TIMEOUT_S):
            return 0
    except urllib.error.HTTPError as error:
        error.close()
        return REFUSED
    except (OSError, ValueError):
        return NOT_REACHED


def main() -> None:
    """Send what the environment says, a second time where the address was not reached."""
    address, told = os.environ.get(ADDRESS, ""), message(os.environ)
    status = post(address, told)
    if status == NOT_REACHED:
        time.sleep(AGAIN_S)
        status = post(address, told)
    sys.exit(status)


if __name__ == "__main__":
    main()
