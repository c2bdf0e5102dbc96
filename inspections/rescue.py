"""What a tablet can no longer open: its unsent work, sealed to this installation's key.

Each tablet seals the key of its recorded work to the public key given here, by elliptic-curve key
agreement with a key made for that one use. Without the PIN only this installation opens it.
"""

from base64 import b64decode, b64encode
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from django.conf import settings

_CURVE = ec.SECP256R1()
_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551  # NIST SP 800-186
_PRIVATE = b"maindrain rescue private key"
_SHARED = b"maindrain rescue 1"


class NotOurs(ValueError):
    """A box that no key of this installation opens, or that was changed."""


def public_key() -> str:
    """Return this installation's public key: base64 of its SubjectPublicKeyInfo."""
    key = _private(settings.SECRET_KEY).public_key()
    return b64encode(key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).decode()


def work_key(envelope: dict[str, Any]) -> bytes:
    """Return the key of a tablet's recorded work.

    Parameters
    ----------
    envelope
        ``half`` (the tablet's half of the agreement, an uncompressed point), ``iv`` and ``data``,
        each in base64.

    Raises
    ------
    NotOurs
        When no key of this installation, past ones included, opens it.
    """
    try:
        half = ec.EllipticCurvePublicKey.from_encoded_point(_CURVE, b64decode(envelope["half"]))
    except (KeyError, TypeError, ValueError) as error:
        raise NotOurs("half") from error
    for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        shared = _private(secret).exchange(ec.ECDH(), half)
        key = HKDF(SHA256(), length=32, salt=None, info=_SHARED).derive(shared)
        try:
            return opened(key, envelope, "work")
        except NotOurs:
            continue
    raise NotOurs("rescue")


def opened(key: bytes, box: dict[str, Any], name: str) -> bytes:
    """Return what is in a box that was locked as `name`; `NotOurs` where the key does not fit."""
    try:
        return AESGCM(key).decrypt(b64decode(box["iv"]), b64decode(box["data"]), name.encode())
    except (InvalidTag, KeyError, TypeError, ValueError) as error:
        raise NotOurs(name) from error


def _private(secret: str) -> ec.EllipticCurvePrivateKey:
    """Return the private key that belongs to a secret key: derived, so that none more is kept.

    By extra random bits, as FIPS 186-5 A.2.1 does.
    """
    bits = HKDF(SHA256(), length=48, salt=None, info=_PRIVATE).derive(secret.encode())
    return ec.derive_private_key(int.from_bytes(bits) % (_ORDER - 1) + 1, _CURVE)
