"""The book encrypted: its own authority and certificate, the steps to trust it, a certificate that was given."""

from __future__ import annotations

import asyncio
import http.client
import importlib.util
import os
import socket
import ssl
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from soakwitness.cli.book import encrypting
from soakwitness.cli.book.devices import Devices
from soakwitness.cli.book.doors import COOKIE
from soakwitness.cli.book.encrypting import FOLDER, Encryption, own_encryption
from soakwitness.cli.book.listening import certificate_names, listen, network_addresses
from soakwitness.cli.book.serving import BookAsked, _renew
from soakwitness.cli.telling.joining import BookRefused
from tests.cli.books import ServedBook, served

pytest.importorskip("cryptography", reason="the extra that makes certificates is not installed")

from cryptography import x509  # noqa: E402

from soakwitness.cli.book.authority import keep_certificate  # noqa: E402

NOW = datetime(2026, 1, 1, tzinfo=UTC)
NAMES = ["shed", "localhost", "shed.local", "127.0.0.1", "192.168.1.20", "198.51.100.7"]


@pytest.fixture
def book(tmp_path: Path) -> Iterator[ServedBook]:
    with served(tmp_path / "book", "--lan", "--https") as book:
        yield book


def trusting(logbook: Path) -> ssl.SSLContext:
    """What a device that took the certificate checks with."""
    return ssl.create_default_context(cafile=logbook / FOLDER / "authority.crt")


def ask(book: ServedBook, host: str, path: str, context: ssl.SSLContext, **headers: str) -> tuple[int, Any, bytes]:
    """Ask over the encrypted way."""
    with closing(http.client.HTTPSConnection(host, book.port, timeout=20, context=context)) as connection:
        connection.request("GET", path, headers=headers)
        answer = connection.getresponse()
        return answer.status, answer.headers, answer.read()


def named(folder: Path) -> set[str]:
    """What the certificate is for."""
    kept = x509.load_pem_x509_certificate((folder / "book.crt").read_bytes())
    names = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return {str(name.value) for name in names}


# ---------------------------------------------------------------- the certificate


def test_a_certificate_is_made_once_and_renewed_before_its_end_by_the_same_authority(tmp_path: Path) -> None:
    folder = tmp_path / FOLDER
    assert keep_certificate(folder, NAMES, NOW)
    authority = (folder / "authority.crt").read_bytes()
    assert not keep_certificate(folder, NAMES, NOW + timedelta(days=366))  # of 397, 30 before the end
    assert keep_certificate(folder, NAMES, NOW + timedelta(days=368))
    assert (folder / "authority.crt").read_bytes() == authority
    assert named(folder) == set(NAMES)
    kept = x509.load_pem_x509_certificate((folder / "book.crt").read_bytes())
    assert kept.not_valid_after_utc - kept.not_valid_before_utc <= timedelta(days=398)  # what browsers take
    if os.name != "nt":
        assert folder.stat().st_mode & 0o777 == 0o700
        assert all(file.stat().st_mode & 0o777 == 0o600 for file in folder.iterdir())


def test_a_new_address_makes_a_new_one_and_a_foreign_name_is_not_vouched_for(tmp_path: Path) -> None:
    keep_certificate(tmp_path, NAMES, NOW)
    assert keep_certificate(tmp_path, [*NAMES, "10.1.2.3", "shop.local"], NOW)
    assert named(tmp_path) == {*NAMES, "10.1.2.3", "shop.local"}
    # an authority that phones trust is worth stealing: it is limited to this computer and private networks (RFC 1918)
    assert not keep_certificate(tmp_path, [*NAMES, "bank.example", "203.0.113.9"], NOW)
    limits = x509.load_pem_x509_certificate((tmp_path / "authority.crt").read_bytes()).extensions
    constraint = limits.get_extension_for_class(x509.NameConstraints)
    assert constraint.critical
    permitted = {str(one.value) for one in constraint.value.permitted_subtrees or ()}
    assert {"192.168.0.0/16", "198.51.100.7/32", "shed", "local"} <= permitted
    assert "0.0.0.0/0" not in permitted


@pytest.mark.parametrize("broken", ["book.crt", "book.key"])
def test_a_certificate_that_cannot_be_used_is_made_anew(tmp_path: Path, broken: str) -> None:
    keep_certificate(tmp_path, NAMES, NOW)
    (tmp_path / broken).write_text("no")
    assert keep_certificate(tmp_path, NAMES, NOW)
    Encryption(tmp_path / "book.crt", tmp_path / "book.key").check()


def test_a_broken_authority_is_not_written_over(tmp_path: Path) -> None:
    own_encryption(tmp_path, NAMES)
    (tmp_path / FOLDER / "authority.crt").write_text("no")
    with pytest.raises(BookRefused, match="Move that folder away"):
        own_encryption(tmp_path, NAMES)
    assert (tmp_path / FOLDER / "authority.crt").read_text() == "no"


def test_without_its_extra_it_is_said_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(BookRefused, match=r"pip install 'soakwitness\[https\]'"):
        own_encryption(tmp_path, NAMES)


def test_a_given_certificate_is_checked_before_anything_is_served(tmp_path: Path) -> None:
    keep_certificate(tmp_path / "a", NAMES, NOW)
    keep_certificate(tmp_path / "b", NAMES, NOW)
    Encryption(tmp_path / "a" / "book.crt", tmp_path / "a" / "book.key").check()
    with pytest.raises(BookRefused, match="there is no such file"):
        Encryption(tmp_path / "none.crt", tmp_path / "a" / "book.key").check()
    with pytest.raises(BookRefused, match="not a certificate with its key"):
        Encryption(tmp_path / "a" / "book.crt", tmp_path / "b" / "book.key").check()


def test_what_was_renewed_is_taken_by_the_running_book(tmp_path: Path) -> None:
    keep_certificate(tmp_path, NAMES, NOW)
    given = Encryption(tmp_path / "book.crt", tmp_path / "book.key")
    taken: list[tuple[Path, Path]] = []
    config = SimpleNamespace(ssl=SimpleNamespace(load_cert_chain=lambda *files: taken.append(files)))
    server: Any = SimpleNamespace(config=config)
    asyncio.run(_renew(BookAsked(tmp_path, 0, given=given), server))
    assert taken == [(given.certificate, given.key)]
    given.certificate.write_text("half written")
    asyncio.run(_renew(BookAsked(tmp_path, 0, given=given), server))
    assert len(taken) == 1  # the old one serves on
    assert encrypting.LOOKED_AT_EVERY_S < 86_400


# ---------------------------------------------------------------- the server


def test_a_device_that_trusts_the_authority_reaches_the_book_by_every_name(book: ServedBook) -> None:
    assert book.address.startswith("https://127.0.0.1:")
    context = trusting(book.logbook)
    for host in ("localhost", "127.0.0.1"):
        assert ask(book, host, "/", context)[0] == 200
    for host in network_addresses():
        token = Devices(book.logbook).add(f"phone at {host}")
        assert ask(book, host, "/", context)[0] == 403
        status, headers, _ = ask(book, host, f"/?token={token}", context)
        assert status == 303
        assert "Secure" in headers["set-cookie"]
        assert ask(book, host, "/", context, Cookie=f"{COOKIE}={token}")[0] == 200
    assert set(certificate_names()) <= named(book.logbook / FOLDER)
    with pytest.raises(ssl.SSLCertVerificationError):
        ask(book, "127.0.0.1", "/", ssl.create_default_context())


def test_the_steps_and_the_certificate_are_open_to_a_device_without_a_link(book: ServedBook) -> None:
    host = next(iter(network_addresses()), None)
    if host is None:
        pytest.skip("this computer is in no network")
    context = trusting(book.logbook)
    status, _, page = ask(book, host, "/certificate", context)
    fingerprint = Encryption(Path(), Path(), book.logbook / FOLDER / "authority.crt").fingerprint
    assert status == 200
    assert fingerprint is not None
    assert fingerprint in page.decode()
    assert len(fingerprint.split()) == 32  # SHA-256
    status, headers, certificate = ask(book, host, "/certificate/furnace-log-book.crt", context)
    assert status == 200
    assert headers["content-type"] == "application/x-x509-ca-cert"
    assert certificate == (book.logbook / FOLDER / "authority.crt").read_bytes()
    assert b"PRIVATE" not in certificate
    for other in ("/certificate/authority.key", "/certificate/../book-https/authority.key"):
        assert ask(book, host, other, context)[0] == 404


def test_plain_http_is_not_answered_and_silent_handshakes_keep_nobody_out(book: ServedBook) -> None:
    with pytest.raises((ConnectionError, http.client.HTTPException)):
        book.ask("GET", "/")
    with ExitStack() as silent:
        for _ in range(300):
            silent.enter_context(socket.create_connection(("127.0.0.1", book.port), timeout=20))
        began = time.monotonic()
        assert ask(book, "127.0.0.1", "/", trusting(book.logbook))[0] == 200
        assert time.monotonic() - began < 3.0


def test_a_port_that_an_encrypted_book_has_is_refused_with_its_log_book(book: ServedBook) -> None:
    with pytest.raises(BookRefused, match=f"used by the book of {book.logbook} .*at {book.address}"):
        listen(book.port, lan=False)


def test_a_book_without_encryption_has_no_such_page(tmp_path: Path) -> None:
    with served(tmp_path / "book") as book:
        assert book.ask("GET", "/certificate")[0] == 404
        assert "/certificate" not in book.ask("GET", "/devices")[2]
