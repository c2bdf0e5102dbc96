"""The installation's own authority: what it vouches for and what a client makes of it."""

import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from socket import create_connection, socket

import pytest
from cryptography import x509
from django.http import Http404
from django.utils import timezone

from config import lan

NOW = datetime(2026, 11, 25, tzinfo=UTC)
HOME = [IPv4Address("192.168.7.20")]


def issue(folder, addresses=HOME, now=NOW, hostname="laptop"):
    return lan.issue(folder, hostname=hostname, addresses=addresses, now=now)


def names(identity):
    return identity.read().extensions.get_extension_for_class(x509.SubjectAlternativeName).value


def test_a_certificate_is_kept_until_an_address_changes_or_it_runs_out(tmp_path):
    first = issue(tmp_path).read()
    authority = lan.authority(tmp_path).read()
    assert issue(tmp_path).read() == first

    elsewhere = [IPv4Address("10.1.2.3")]
    assert elsewhere[0] in names(issue(tmp_path, elsewhere)).get_values_for_type(x509.IPAddress)
    moved = issue(tmp_path, elsewhere).read()
    assert moved != first

    later = NOW + timedelta(days=lan.LEAF_DAYS - lan.RENEW_DAYS + 1)
    assert issue(tmp_path, elsewhere, later).read() != moved
    assert lan.authority(tmp_path).read() == authority


def test_the_authority_vouches_for_private_addresses_and_its_own_names_only(tmp_path):
    issue(tmp_path)
    leaf = issue(tmp_path, [*HOME, IPv4Address("8.8.4.4")], hostname="renamed")
    assert names(leaf).get_values_for_type(x509.IPAddress) == [IPv4Address("127.0.0.1"), *HOME]
    assert names(leaf).get_values_for_type(x509.DNSName) == ["localhost", "renamed.local"]
    constraints = (
        lan.authority(tmp_path).read().extensions.get_extension_for_class(x509.NameConstraints)
    )
    assert constraints.critical


def test_private_keys_are_for_the_service_alone(tmp_path):
    leaf = issue(tmp_path)
    for identity in (leaf, lan.authority(tmp_path)):
        assert stat.S_IMODE(identity.key.stat().st_mode) == 0o600


@pytest.mark.parametrize("name", ["localhost", "laptop", "127.0.0.1", "192.168.7.20"])
def test_a_client_that_trusts_the_authority_accepts_the_certificate(name, tmp_path):
    # Issued now, since the client looks at its own clock.
    leaf = issue(tmp_path, now=timezone.now())
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(leaf.certificate, leaf.key)
    with socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()

        def serve():
            connection, _ = listener.accept()
            with context.wrap_socket(connection, server_side=True) as secured:
                secured.sendall(b"ready")

        thread = threading.Thread(target=serve)
        thread.start()
        trusting = ssl.create_default_context(cafile=lan.authority(tmp_path).certificate)
        with (
            create_connection(listener.getsockname(), timeout=10) as plain,
            trusting.wrap_socket(plain, server_hostname=name) as secured,
        ):
            assert secured.recv(5) == b"ready"
        thread.join()


def test_a_phone_gets_the_authority_certificate_and_nothing_more(settings, tmp_path, rf):
    settings.DATA_DIR = tmp_path
    with pytest.raises(Http404):
        lan.ca_certificate(rf.get("/ca.crt"))
    issue(tmp_path / "ca")
    answer = lan.ca_certificate(rf.get("/ca.crt"))
    assert answer["Content-Type"] == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(answer.content) == lan.authority(tmp_path / "ca").read()
