"""The book's own authority and certificate: ``python -m soakwitness.cli.book.authority FOLDER NAME...``.

A process of its own, as what it needs costs the server 15 MB that it never uses again.
"""

from __future__ import annotations

import ipaddress
import json
import os
import socket
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY, AUTHORITY_KEY = "authority.crt", "authority.key"
CERTIFICATE, KEY = "book.crt", "book.key"
AUTHORITY_LASTS = timedelta(days=3650)
LASTS = timedelta(days=397)  # browsers refuse what lasts longer than 398 days, or 825 under an authority of one's own
RENEWED_BEFORE = timedelta(days=30)
CLOCKS_APART = timedelta(days=1)
OWN_NETWORKS = (
    *("127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16"),
    *("::1/128", "fc00::/7", "fe80::/10"),
)


def keep_certificate(folder: Path, names: list[str], now: datetime) -> bool:
    """Have a certificate for these names and addresses in the folder; whether a new one was made."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    authority, key = _authority(folder, names, now)
    permitted = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    wanted = [name for name in map(_general, names) if _within(name, permitted)]
    if not _is_good(folder, authority, wanted, now):
        own = ec.generate_private_key(ec.SECP256R1())
        made = _signed(
            names[0], own.public_key(), authority.subject, key, now, min(now + LASTS, authority.not_valid_after_utc),
            [
                (x509.BasicConstraints(ca=False, path_length=None), True),
                (_usage(signs=False), True),
                (x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False),
                (x509.SubjectAlternativeName(wanted), False),
                (x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), False),
            ],
        )  # fmt: skip
        _write(folder / KEY, _key_text(own))
        _write(folder / CERTIFICATE, made.public_bytes(serialization.Encoding.PEM))
        return True
    return False


def _authority(folder: Path, names: list[str], now: datetime) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    """The authority that is there, or a new one; it can vouch for this computer and its own networks only."""
    place = folder / AUTHORITY
    if place.exists():
        kept = x509.load_pem_x509_certificate(place.read_bytes())
        if kept.not_valid_after_utc - RENEWED_BEFORE > now:
            key = serialization.load_pem_private_key((folder / AUTHORITY_KEY).read_bytes(), None)
            assert isinstance(key, ec.EllipticCurvePrivateKey)
            return kept, key
    key = ec.generate_private_key(ec.SECP256R1())
    about = f"Furnace log book of {names[0]}"[:64]
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, about)])
    nets: list[x509.GeneralName] = [x509.IPAddress(ipaddress.ip_network(net)) for net in OWN_NETWORKS]
    here = [_general(name) for name in names]
    nets += [x509.DNSName("local"), *(n for n in here if isinstance(n, x509.DNSName))]
    others = (n.value for n in here if isinstance(n, x509.IPAddress) and not _within(n, nets))
    nets += [x509.IPAddress(ipaddress.ip_network(address)) for address in others]
    made = _signed(
        about, key.public_key(), subject, key, now, now + AUTHORITY_LASTS,
        [
            (x509.BasicConstraints(ca=True, path_length=0), True),
            (_usage(signs=True), True),
            (x509.NameConstraints(permitted_subtrees=list(dict.fromkeys(nets)), excluded_subtrees=None), True),
        ],
    )  # fmt: skip
    _write(folder / AUTHORITY_KEY, _key_text(key))
    _write(place, made.public_bytes(serialization.Encoding.PEM))
    return made, key


def _signed(
    about: str,
    public: ec.EllipticCurvePublicKey,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    now: datetime,
    until: datetime,
    says: list[tuple[Any, bool]],
) -> x509.Certificate:
    builder = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, about[:64])]))
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCKS_APART)
        .not_valid_after(until)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )
    for extension, critical in says:
        builder = builder.add_extension(extension, critical=critical)
    return builder.sign(key, hashes.SHA256())


def _is_good(folder: Path, authority: x509.Certificate, wanted: list[x509.GeneralName], now: datetime) -> bool:
    """Whether the certificate that is there is the authority's, names all that is wanted and lasts."""
    try:
        kept = x509.load_pem_x509_certificate((folder / CERTIFICATE).read_bytes())
        kept.verify_directly_issued_by(authority)
        named = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        key = serialization.load_pem_private_key((folder / KEY).read_bytes(), None)
    except Exception:  # whatever is wrong with it: a new one is made
        return False
    fits = key.public_key() == kept.public_key()
    return fits and set(wanted) <= set(named) and kept.not_valid_after_utc - RENEWED_BEFORE > now


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs, key_cert_sign=signs, crl_sign=signs, content_commitment=False,
        key_encipherment=False, data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _within(name: x509.GeneralName, permitted: list[x509.GeneralName]) -> bool:
    """Whether an authority that is limited to these may vouch for a name."""
    if isinstance(name, x509.IPAddress):
        return any(isinstance(p, x509.IPAddress) and name.value in p.value for p in permitted)  # type: ignore[operator]
    return any(
        isinstance(p, x509.DNSName) and (name.value == p.value or str(name.value).endswith(f".{p.value}"))
        for p in permitted
    )


def _key_text(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(path: Path, data: bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    part.unlink(missing_ok=True)
    with open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, path)


if __name__ == "__main__":
    made_new = keep_certificate(Path(sys.argv[1]), sys.argv[2:] or [socket.gethostname()], datetime.now(UTC))
    print(json.dumps({"new": made_new}))
