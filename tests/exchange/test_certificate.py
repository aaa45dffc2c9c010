"""Certificates of a household: OpenSSL, through Python's `ssl`, is the judge of whom they fit."""

import ssl
import stat
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from quailwright.exchange.certificate import Https, https_for
from quailwright.journal.findings import BadInput

NOW = datetime.now(UTC)
HOSTS = ("localhost", "127.0.0.1", "[::1]", "192.168.1.7", "shed-box", "shed-box.local")


def shaken(server: Path, trusting: ssl.SSLContext, host: str) -> None:
    """A handshake in memory with a server of that certificate. Raises ssl.SSLError."""
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(server)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = trusting.wrap_bio(to_client, to_server, server_hostname=host)
    answering = serving.wrap_bio(to_server, to_client, server_side=True)
    both: list[Callable[[], None]] = [client.do_handshake, answering.do_handshake]
    for _ in range(6):
        for side in both:
            try:
                side()
            except ssl.SSLWantReadError:
                continue
    assert client.version() in ("TLSv1.2", "TLSv1.3")


def trusting(https: Https) -> ssl.SSLContext:
    """A browser that was told to trust the authority, and nobody else."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.load_verify_locations(cadata=https.authority)
    # RFC 5280 to the letter, as later versions of Python ask by themselves.
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    return context


def held(path: Path) -> x509.Certificate:
    """The certificate in a file."""
    return x509.load_pem_x509_certificate(path.read_bytes())


@pytest.mark.parametrize("host", [host.strip("[]") for host in HOSTS])
def test_who_trusts_the_authority_accepts_the_server_by_each_of_its_names(
    tmp_path: Path, host: str
) -> None:
    https = https_for(tmp_path / "https", HOSTS, NOW)
    assert https.is_new
    assert https.unspoken == ()
    shaken(https.server, trusting(https), host)
    with pytest.raises(ssl.SSLCertVerificationError, match="not valid for"):
        shaken(https.server, trusting(https), "192.168.1.8" if host[0].isdigit() else "other.local")
    with pytest.raises(ssl.SSLCertVerificationError, match="unable to get local issuer"):
        shaken(https.server, ssl.create_default_context(), host)


def test_fingerprint_is_what_openssl_says(tmp_path: Path) -> None:
    import subprocess

    https = https_for(tmp_path, HOSTS, NOW)
    said = subprocess.run(
        ["openssl", "x509", "-inform", "DER", "-noout", "-fingerprint", "-sha256"],
        input=https.authority,
        capture_output=True,
        check=True,
    ).stdout.decode()
    assert said.strip().partition("=")[2].replace(":", " ") == https.fingerprint


@pytest.mark.parametrize("host", ["bank.example", "shed-box.example", "203.0.113.5"])
def test_a_stolen_key_imitates_nobody_outside(tmp_path: Path, host: str) -> None:
    https = https_for(tmp_path, HOSTS, NOW)
    stolen = serialization.load_pem_private_key((tmp_path / "authority.pem").read_bytes(), None)
    assert isinstance(stolen, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(ec.SECP256R1())
    is_address = host[0].isdigit()
    name = x509.IPAddress(ip_address(host)) if is_address else x509.DNSName(host)
    issuer = held(tmp_path / "authority.pem")
    forged = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - timedelta(days=1))
        .not_valid_after(NOW + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([name]), critical=True)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(stolen.public_key()), critical=False
        )
        .sign(stolen, hashes.SHA256())
    )
    path = tmp_path / "forged.pem"
    path.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        + forged.public_bytes(serialization.Encoding.PEM)
    )
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shaken(path, trusting(https), host)


def test_certificates_last_no_longer_than_phones_take(tmp_path: Path) -> None:
    """398 days: CA/Browser Forum, Baseline Requirements, section 6.3.2."""
    https_for(tmp_path, HOSTS, NOW)
    server = held(tmp_path / "server.pem")
    assert server.not_valid_after_utc - server.not_valid_before_utc < timedelta(days=398)
    authority = held(tmp_path / "authority.pem")
    basic = authority.extensions.get_extension_for_class(x509.BasicConstraints)
    assert basic.critical
    assert (basic.value.ca, basic.value.path_length) == (True, 0)


def test_both_stay_until_they_must_change(tmp_path: Path) -> None:
    first = https_for(tmp_path, HOSTS, NOW)
    server = first.server.read_bytes()
    again = https_for(tmp_path, HOSTS, NOW + timedelta(days=300))
    assert not again.is_new
    assert again.authority == first.authority
    assert again.server.read_bytes() == server

    moved = https_for(tmp_path, (*HOSTS, "192.168.1.9"), NOW)
    assert moved.authority == first.authority
    assert held(moved.server) != x509.load_pem_x509_certificate(server)
    shaken(moved.server, trusting(first), "192.168.1.9")

    old = held(moved.server)
    later = https_for(tmp_path, (*HOSTS, "192.168.1.9"), NOW + timedelta(days=370))
    assert later.authority == first.authority
    assert held(later.server).not_valid_after_utc > old.not_valid_after_utc

    much_later = https_for(tmp_path, HOSTS, NOW + timedelta(days=3640))
    assert much_later.is_new
    assert much_later.authority != first.authority


def test_only_the_owner_may_read_the_keys(tmp_path: Path) -> None:
    folder = tmp_path / "https"
    https_for(folder, HOSTS, NOW)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for path in folder.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path
    authority, server = folder / "authority.pem", folder / "server.pem"
    server.chmod(0o644)
    was = server.read_bytes()
    https_for(folder, HOSTS, NOW)  # the server's key is made anew: no phone notices
    assert server.read_bytes() != was
    assert stat.S_IMODE(server.stat().st_mode) == 0o600
    authority.chmod(0o640)
    with pytest.raises(BadInput, match="Others on this computer may read"):
        https_for(folder, HOSTS, NOW)


@pytest.mark.parametrize("damaged", [b"", b"no key", "half"])
def test_a_damaged_authority_is_named_and_left_alone(tmp_path: Path, damaged: bytes | str) -> None:
    https_for(tmp_path, HOSTS, NOW)
    path = tmp_path / "authority.pem"
    text = path.read_bytes()
    left = text[: text.index(b"-----BEGIN CERT")] if isinstance(damaged, str) else damaged
    path.write_bytes(left)
    with pytest.raises(BadInput, match="does not hold a key with its certificate"):
        https_for(tmp_path, HOSTS, NOW)
    assert path.read_bytes() == left


def test_a_damaged_server_certificate_is_made_anew(tmp_path: Path) -> None:
    https = https_for(tmp_path, HOSTS, NOW)
    https.server.write_bytes(b"rubbish")
    https.server.chmod(0o600)
    shaken(https_for(tmp_path, HOSTS, NOW).server, trusting(https), "localhost")


def test_what_it_may_not_vouch_for_is_said(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="an address of the internet"):
        https_for(tmp_path, ("203.0.113.5",), NOW)
    https_for(tmp_path, HOSTS, NOW)
    renamed = https_for(tmp_path, (*HOSTS, "new-box", "new-box.local", "pens.example"), NOW)
    assert renamed.unspoken == ("new-box", "pens.example")
    shaken(renamed.server, trusting(renamed), "new-box.local")
