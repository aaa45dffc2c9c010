"""https at home: a certificate authority of this household, and the server's own certificate.

A phone gives a page a service worker, and with it pages that open with no signal, only over https
with a certificate that it trusts. No public authority vouches for an address at home, so this
computer makes one of its own, which each phone is told to trust once.

What the authority may vouch for stands in its own certificate (name constraints, RFC 5280, section
4.2.1.10): addresses of home networks, names that are kept for them, and this computer's own names.
Whoever steals its key can imitate no other computer of the world to these phones.

Two files in one folder, each a key with its certificate, so that neither is without the other:
`authority.pem` stays for ten years, `server.pem` is made anew when it nears its end or this
computer has another address.
"""

import os
import re
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from quailwright.journal.drafts import make_folder, sync_folder
from quailwright.journal.findings import BadInput
from quailwright.language import say

SERVER_LASTS: Final = timedelta(days=397)
"""Phones refuse a server's certificate that lasts longer than 398 days (CA/Browser Forum Baseline
Requirements, section 6.3.2; Apple, "Requirements for trusted certificates", 825 for an authority
that its user added)."""
AUTHORITY_LASTS: Final = timedelta(days=3652)
RENEWED_BEFORE: Final = timedelta(days=30)
_CLOCKS_DIFFER: Final = timedelta(days=1)

_HOME_NETWORKS: Final = tuple(
    map(
        ip_network,
        (
            "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16",  # RFC 1918
            "100.64.0.0/10",  # RFC 6598: of a provider's own network
            "169.254.0.0/16", "fe80::/10",  # RFC 3927 and RFC 4291: given by nobody
            "fc00::/7",  # RFC 4193
            "127.0.0.0/8", "::1/128",
        ),
    )
)  # fmt: skip
_HOME_DOMAINS: Final = ("localhost", "local", "home.arpa", "internal", "lan")
"""Names of home networks: RFC 6761, RFC 6762, RFC 8375, ICANN's `internal`; `lan` is common
practice of routers, no source."""

_HOST_NAME: Final = re.compile(r"(?!\d+\Z)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")

_Key = ec.EllipticCurvePrivateKey


@dataclass(frozen=True, slots=True)
class Https:
    """What a server needs to speak https, and what a phone needs to trust it.

    Attributes:
        server: the file with the server's key and certificate.
        authority: the authority's certificate (DER).
        is_new: whether the authority was made just now, so that no phone trusts it yet.
        unspoken: names that the authority may not vouch for, and the server does not bear.
    """

    server: Path
    authority: bytes
    is_new: bool
    unspoken: tuple[str, ...]

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the authority's certificate, as phones show it: `0A 1B ...`."""
        return fingerprint(self.authority)


def fingerprint(certificate: bytes) -> str:
    """SHA-256 of a certificate (DER), in pairs of digits."""
    digest = hashes.Hash(hashes.SHA256())
    digest.update(certificate)
    return digest.finalize().hex(" ").upper()


def https_for(folder: Path, hosts: Sequence[str], now: datetime) -> Https:
    """A certificate for these host names and addresses, kept in a folder; made where it is missing.

    Raises BadInput where an address is none of a home network, where others may read the
    authority's key, and where its file is damaged.
    """
    asked = [host.strip("[]").lower().rstrip(".") for host in hosts]
    addresses = sorted({ip_address(host) for host in asked if _is_address(host)}, key=str)
    names = sorted({host for host in asked if not _is_address(host)})
    for address in addresses:
        if not _at_home(address):
            raise BadInput(
                say(
                    "{address} is an address of the internet, and not of a home network: a "
                    "certificate made here is not for that. Put the pages behind a server that has "
                    "a certificate of its own, and give its name with --name.",
                    address=address,
                )
            )
    make_folder(folder, mode=0o700)
    key, authority, is_new = _authority(folder / "authority.pem", names, now)
    borne = [name for name in names if _may_bear(authority, name)]
    server = folder / "server.pem"
    if not _will_do(server, authority, borne, addresses, now):
        _write(server, *_server_certificate(key, authority, borne, addresses, now))
    unspoken = tuple(name for name in names if name not in borne)
    return Https(server, authority.public_bytes(serialization.Encoding.DER), is_new, unspoken)


def _is_address(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def _at_home(address: IPv4Address | IPv6Address) -> bool:
    return any(address in network for network in _HOME_NETWORKS)


def _is_host_name(name: str) -> bool:
    return len(name) <= 253 and all(_HOST_NAME.fullmatch(part) for part in name.split("."))


def _authority(
    path: Path, names: Sequence[str], now: datetime
) -> tuple[_Key, x509.Certificate, bool]:
    """The authority's key and certificate, and whether they were made just now."""
    if path.exists():
        _only_ours(path)
        key, authority = _read(path)
        if now < authority.not_valid_after_utc - RENEWED_BEFORE:
            return key, authority, False
    key, authority = _new_authority([name for name in names if _is_host_name(name)], now)
    _write(path, key, authority)
    return key, authority, True


def _only_ours(path: Path) -> None:
    if stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise BadInput(
            say(
                "Others on this computer may read {path}, and with it could imitate this server. "
                "If only you use this computer, run `chmod 600 {path}`. Otherwise delete the file, "
                "start again, and install the new certificate on each phone.",
                path=path,
            )
        )


def _read(path: Path) -> tuple[_Key, x509.Certificate]:
    """Raises BadInput when the file does not hold a key and its certificate."""
    try:
        data = path.read_bytes()
        key = serialization.load_pem_private_key(data, None)
        certificate = x509.load_pem_x509_certificate(data)
    except (OSError, ValueError, TypeError):
        key = None
    if not isinstance(key, _Key) or key.public_key() != certificate.public_key():
        raise BadInput(
            say(
                "{path} does not hold a key with its certificate. Move it away and start again: "
                "another is then made, to be installed on each phone.",
                path=path,
            )
        )
    return key, certificate


def _write(path: Path, key: _Key, certificate: x509.Certificate) -> None:
    """Writes both whole or not at all; nobody else may read them, not even for a moment."""
    text = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + certificate.public_bytes(serialization.Encoding.PEM)
    unfinished = path.with_name(f"{path.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)
    sync_folder(path.parent)


def _new_authority(names: Sequence[str], now: datetime) -> tuple[_Key, x509.Certificate]:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = _named(f"quailwright, made at home on {now:%Y-%m-%d}")
    permitted: list[x509.GeneralName] = [x509.IPAddress(network) for network in _HOME_NETWORKS]
    permitted += [x509.DNSName(name) for name in dict.fromkeys((*_HOME_DOMAINS, *names))]
    certificate = (
        _begun(key, subject, subject, now, now + AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .sign(key, hashes.SHA256())
    )
    return key, certificate


def _server_certificate(
    authority_key: _Key,
    authority: x509.Certificate,
    names: Sequence[str],
    addresses: Sequence[IPv4Address | IPv6Address],
    now: datetime,
) -> tuple[_Key, x509.Certificate]:
    key = ec.generate_private_key(ec.SECP256R1())
    borne: list[x509.GeneralName] = [x509.DNSName(name) for name in names]
    borne += [x509.IPAddress(address) for address in addresses]
    until = min(now - _CLOCKS_DIFFER + SERVER_LASTS, authority.not_valid_after_utc)
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key())
    certificate = (
        _begun(key, _named("quailwright"), authority.subject, now, until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(borne), critical=False)
        .add_extension(issuer, critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    return key, certificate


def _named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _begun(
    key: _Key, subject: x509.Name, issuer: x509.Name, now: datetime, until: datetime
) -> x509.CertificateBuilder:
    """What both certificates have; it holds from a day before, for phones whose clock is behind."""
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _CLOCKS_DIFFER)
        .not_valid_after(until)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _may_bear(authority: x509.Certificate, name: str) -> bool:
    """Whether the authority may vouch for a host name."""
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    domains = [
        one.value for one in limits.permitted_subtrees or () if isinstance(one, x509.DNSName)
    ]
    fits = any(name == domain or name.endswith(f".{domain}") for domain in domains)
    return fits and _is_host_name(name)


def _will_do(
    server: Path,
    authority: x509.Certificate,
    names: Sequence[str],
    addresses: Sequence[IPv4Address | IPv6Address],
    now: datetime,
) -> bool:
    """Whether the server's file still serves; if not, it is made anew, which no phone notices."""
    try:
        _only_ours(server)
        _, certificate = _read(server)
        certificate.verify_directly_issued_by(authority)
        borne = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, BadInput, InvalidSignature, ValueError, TypeError, x509.ExtensionNotFound):
        return False
    lasts = certificate.not_valid_before_utc <= now < certificate.not_valid_after_utc
    return (
        lasts
        and now < certificate.not_valid_after_utc - RENEWED_BEFORE
        and sorted(borne.get_values_for_type(x509.DNSName)) == list(names)
        and sorted(borne.get_values_for_type(x509.IPAddress), key=str) == list(addresses)
    )
