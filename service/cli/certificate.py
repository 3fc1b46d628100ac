"""A certificate that this machine makes for itself, kept in the data folder.

It is no authority: with its key nobody can pose as another site. Phones therefore warn once; the
fingerprint on the laptop's page lets people see that it is the right one.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from classifier.errors import StorageError
from service.synced import draft_of, write_synced

LIFE = timedelta(days=365)
"""Browsers refuse what is valid for longer than about two years (Apple: 825 days, HT210176, B)."""
RENEW_BEFORE = timedelta(days=60)
_EARLIER = timedelta(days=1)
"""Phones whose clock is behind take it too."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """A file with key and certificate, and what people compare."""

    path: Path
    fingerprint: str
    not_after: datetime


def certificate_for(
    folder: Path, hosts: Iterable[str], *, now: datetime | None = None
) -> Certificate:
    """Return the folder's certificate, made again when it is missing, too old or lacks a host.

    The key stays the same as long as it can be read; both stand in one file that only its owner
    may read. Raises StorageError when it can't be written.
    """
    moment = now or datetime.now(UTC)
    wanted = {"localhost", "127.0.0.1", *_own_names(), *hosts}
    path = folder / "certificate.pem"
    key, old = _read(path)
    if key is not None and old is not None and _good(old, wanted, moment):
        return _described(path, old)
    key = key or ec.generate_private_key(ec.SECP256R1())
    new = _made(key, wanted, moment)
    _write(path, key, new)
    return _described(path, new)


def _own_names() -> set[str]:
    name = socket.gethostname().lower()
    return {name, name.removesuffix(".local") + ".local"} if name else set()


def _read(path: Path) -> tuple[ec.EllipticCurvePrivateKey | None, x509.Certificate | None]:
    try:
        data = path.read_bytes()
        key = serialization.load_pem_private_key(data, password=None)
        certificate = x509.load_pem_x509_certificate(data)
    except (OSError, ValueError):
        return None, None
    if not isinstance(key, ec.EllipticCurvePrivateKey) or certificate.public_key() != (
        key.public_key()
    ):
        return None, None
    return key, certificate


def _good(certificate: x509.Certificate, wanted: set[str], now: datetime) -> bool:
    if not certificate.not_valid_before_utc <= now < certificate.not_valid_after_utc - RENEW_BEFORE:
        return False
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return False
    held = {str(each) for each in names.get_values_for_type(x509.IPAddress)}
    return wanted <= held | set(names.get_values_for_type(x509.DNSName))


def _made(key: ec.EllipticCurvePrivateKey, hosts: set[str], now: datetime) -> x509.Certificate:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "tallytare on this laptop")])
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    builder = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(now + LIFE)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(_names(hosts)), critical=False)
    )
    return builder.sign(key, hashes.SHA256())


def _names(hosts: set[str]) -> list[x509.GeneralName]:
    names: list[x509.GeneralName] = []
    for host in sorted(hosts):
        try:
            names.append(x509.IPAddress(ipaddress.ip_address(host)))
        except ValueError:
            if host.isascii():  # other names can't stand in a certificate as they are
                names.append(x509.DNSName(host))
    return names


def _write(path: Path, key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate) -> None:
    pem = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + certificate.public_bytes(serialization.Encoding.PEM)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with draft_of(path) as draft:
            write_synced(draft, pem)
    except OSError as error:
        raise StorageError(
            f"the certificate can't be written to {path.parent} ({error.strerror or error}): give "
            "the right to write there, or start without --https",
            path=str(path),
        ) from error


def _described(path: Path, certificate: x509.Certificate) -> Certificate:
    digits = certificate.fingerprint(hashes.SHA256()).hex().upper()
    pairs = ":".join(digits[at : at + 2] for at in range(0, len(digits), 2))
    return Certificate(path, pairs, certificate.not_valid_after_utc)
