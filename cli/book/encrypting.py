"""What the book encrypts with: its own certificate, kept in the log book's folder, or one that was given."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import ssl
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from soakwitness.cli.telling.joining import BookRefused

FOLDER = "book-https"
HANDSHAKE_S = 10.0
LOOKED_AT_EVERY_S = 6 * 3600.0
TAKES_S = 60.0
MISSING = (
    "What makes certificates is not installed. Install it with: pip install 'soakwitness[https]'. "
    "Or give a certificate that you have: --certificate FILE --key FILE"
)


@dataclass(frozen=True)
class Encryption:
    """A certificate with its key; ``authority`` is the book's own, where it is that one's."""

    certificate: Path
    key: Path
    authority: Path | None = None

    @property
    def fingerprint(self) -> str | None:
        """SHA-256 of the authority, in pairs as phones show it."""
        if self.authority is None:
            return None
        der = ssl.PEM_cert_to_DER_cert(self.authority.read_text(encoding="ascii"))
        digest = hashlib.sha256(der).hexdigest().upper()
        return " ".join(digest[at : at + 2] for at in range(0, len(digest), 2))

    def check(self) -> None:
        """Raise BookRefused where it cannot be used."""
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(self.certificate, self.key, lambda: "")
        except OSError as error:
            for file in (self.certificate, self.key):
                if not file.is_file():
                    raise BookRefused(f"{file}: there is no such file.") from None
            raise BookRefused(
                f"{self.certificate} and {self.key} are not a certificate with its key "
                f"({getattr(error, 'reason', None) or error.strerror or error}). Both are wanted as PEM, "
                "the key without a password."
            ) from None


def own_encryption(logbook: Path, names: list[str]) -> Encryption:
    """The book's own certificate for these names and addresses, made or renewed where it has to be.

    Raises BookRefused where it cannot be made.
    """
    if importlib.util.find_spec("cryptography") is None:
        raise BookRefused(MISSING)
    folder = logbook / FOLDER
    words = [sys.executable, "-m", "soakwitness.cli.book.authority", str(folder), *names]
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=TAKES_S, check=False)
        json.loads(done.stdout)
    except (OSError, ValueError, subprocess.TimeoutExpired):
        raise BookRefused(
            f"No certificate could be made in {folder}. Move that folder away: phones have to trust a new one then."
        ) from None
    return Encryption(folder / "book.crt", folder / "book.key", folder / "authority.crt")
