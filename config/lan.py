"""HTTPS on the local network: the installation's own certificate authority and what it issues.

A phone needs HTTPS for its camera, for working offline and for passkeys. The authority is made once
in the data folder and may vouch for private addresses and this machine's own names only, so that a
phone which trusts it trusts it for nothing else. Names and limits as in RFC 5280.
"""

import datetime
import fcntl
import ipaddress
import os
import socket
import struct
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

IPv4 = ipaddress.IPv4Address
PRIVATE = [
    ipaddress.ip_network(text)
    for text in (
        "10.0.0.0/8",
        "100.64.0.0/10",
        "127.0.0.0/8",
        "169.254.0.0/16",
        "172.16.0.0/12",
        "192.168.0.0/16",
    )
]
AUTHORITY_DAYS = 3650
# Phones refuse certificates of longer validity, even from an authority that was added by hand.
LEAF_DAYS = 397
RENEW_DAYS = 30
_SIOCGIFADDR = 0x8915


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """A certificate with its private key, as PEM files."""

    certificate: Path
    key: Path

    def read(self) -> x509.Certificate:
        """Return the certificate."""
        return x509.load_pem_x509_certificate(self.certificate.read_bytes())

    def read_key(self) -> ec.EllipticCurvePrivateKey:
        """Return the private key."""
        key = serialization.load_pem_private_key(self.key.read_bytes(), password=None)
        if not isinstance(key, ec.EllipticCurvePrivateKey):
            raise ValueError(f"{self.key} holds no elliptic curve key")  # noqa: TRY004
        return key


def authority(folder: Path) -> Identity:
    """Return the identity of the authority at `folder`."""
    return Identity(certificate=folder / "ca.crt", key=folder / "ca.key")


def issue(
    folder: Path, *, hostname: str, addresses: list[IPv4], now: datetime.datetime
) -> Identity:
    """Return a certificate for these names, made anew when they changed or it soon runs out.

    Parameters
    ----------
    folder
        Where the authority is kept; it is made there when there is none.
    hostname
        Name of this machine.
    addresses
        Its addresses; public ones that it did not have when the authority was made are left out,
        the authority may not vouch for them.
    """
    issuer = authority(folder)
    if not issuer.certificate.exists():
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _make_authority(issuer, hostname, addresses, now)
    leaf = Identity(certificate=folder / "server.crt", key=folder / "server.key")
    names = _names(hostname, addresses, issuer.read())
    if not _still_good(leaf, names, issuer, now):
        _make_leaf(leaf, names, issuer, now)
    return leaf


def fingerprint(certificate: x509.Certificate) -> str:
    """Return the SHA-256 fingerprint in pairs, as phones show it."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def addresses_here() -> list[IPv4]:
    """Return the IPv4 addresses of this machine's interfaces, the one towards the network first."""
    found = [address for name in _interfaces() if (address := _address_of(name))]
    main = _main_address()
    reachable = [address for address in found if not address.is_loopback]
    return sorted(reachable, key=lambda address: (address != main, address))


@require_safe
def ca_certificate(request: HttpRequest) -> HttpResponse:
    """Hand out the authority's certificate, for a phone that is to trust it."""
    path = authority(settings.DATA_DIR / "ca").certificate
    if not path.exists():
        raise Http404
    content = authority(settings.DATA_DIR / "ca").read().public_bytes(serialization.Encoding.DER)
    headers = {"Content-Disposition": 'attachment; filename="maindrain-ca.crt"'}
    return HttpResponse(content, content_type="application/x-x509-ca-cert", headers=headers)


def _make_authority(
    identity: Identity, hostname: str, addresses: list[IPv4], now: datetime.datetime
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Maindrain on {hostname}"[:64])])
    permitted: list[x509.GeneralName] = [x509.IPAddress(network) for network in PRIVATE]
    permitted += [
        x509.IPAddress(ipaddress.ip_network(address))
        for address in addresses
        if not any(address in network for network in PRIVATE)
    ]
    permitted += [x509.DNSName(part) for part in dict.fromkeys(["localhost", "local", hostname])]
    builder = (
        _certificate(name, name, key, now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    _write(identity, builder.sign(key, hashes.SHA256()), key)


def _make_leaf(
    identity: Identity, names: list[x509.GeneralName], issuer: Identity, now: datetime.datetime
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Maindrain")])
    issuer_key = issuer.read_key()
    identifier = x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer_key.public_key())
    builder = (
        _certificate(subject, issuer.read().subject, key, now, LEAF_DAYS)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(identifier, critical=False)
    )
    _write(identity, builder.sign(issuer_key, hashes.SHA256()), key)


def _certificate(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    now: datetime.datetime,
    days: int,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        # A phone's clock may be a little behind.
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=days - 1))
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
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


def _names(
    hostname: str, addresses: list[IPv4], issuer: x509.Certificate
) -> list[x509.GeneralName]:
    constraints = issuer.extensions.get_extension_for_class(x509.NameConstraints).value
    domains = [
        name.value
        for name in constraints.permitted_subtrees or []
        if isinstance(name, x509.DNSName)
    ]
    networks = [
        name.value
        for name in constraints.permitted_subtrees or []
        if isinstance(name, x509.IPAddress) and isinstance(name.value, ipaddress.IPv4Network)
    ]
    wanted = dict.fromkeys(["localhost", hostname, f"{hostname.partition('.')[0]}.local"])
    names: list[x509.GeneralName] = [
        x509.DNSName(name)
        for name in wanted
        if any(name == domain or name.endswith(f".{domain}") for domain in domains)
    ]
    names += [
        x509.IPAddress(address)
        for address in [IPv4("127.0.0.1"), *addresses]
        if any(address in network for network in networks)
    ]
    return names


def _still_good(
    leaf: Identity, names: list[x509.GeneralName], issuer: Identity, now: datetime.datetime
) -> bool:
    if not (leaf.certificate.exists() and leaf.key.exists()):
        return False
    certificate = leaf.read()
    had = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return (
        set(had) == set(names)
        and certificate.issuer == issuer.read().subject
        and certificate.not_valid_after_utc > now + datetime.timedelta(days=RENEW_DAYS)
    )


def _write(
    identity: Identity, certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey
) -> None:
    identity.key.unlink(missing_ok=True)
    descriptor = os.open(identity.key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )
    identity.certificate.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))


def _interfaces() -> list[str]:
    return [name for _, name in socket.if_nameindex()]


def _address_of(interface: str) -> IPv4 | None:
    request = struct.pack("256s", interface.encode()[:15])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            answer = fcntl.ioctl(probe.fileno(), _SIOCGIFADDR, request)
        except OSError:
            return None
    return IPv4(answer[20:24])


def _main_address() -> IPv4 | None:
    # Connecting a datagram socket sends nothing; it only asks which interface would be used.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        return IPv4(probe.getsockname()[0])
