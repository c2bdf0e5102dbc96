"""Bundles as a tablet saves them: its work key sealed to the office, each entry in a box."""

import json
import os
from base64 import b64decode, b64encode
from collections.abc import Sequence
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    PublicFormat,
    load_der_public_key,
)

from contractors.models import new_id
from inspections import rescue

_POINT = (Encoding.X962, PublicFormat.UncompressedPoint)


def sealed(key: bytes) -> dict[str, Any]:
    """Seal a key as a tablet does, to the public key of the moment."""
    office = load_der_public_key(b64decode(rescue.public_key()))
    assert isinstance(office, ec.EllipticCurvePublicKey)
    half = ec.generate_private_key(ec.SECP256R1())
    shared = half.exchange(ec.ECDH(), office)
    lid = HKDF(SHA256(), 32, salt=None, info=b"maindrain rescue 1").derive(shared)
    return {"half": _text(half.public_key().public_bytes(*_POINT)), **box(lid, key, "work")}


def box(key: bytes, content: bytes, name: str) -> dict[str, Any]:
    """Lock bytes under a key."""
    iv = os.urandom(12)
    return {"iv": _text(iv), "data": _text(AESGCM(key).encrypt(iv, content, name.encode()))}


def bundle(
    member: Any, entries: list[dict[str, Any]], photos: Sequence[tuple[str, str, bytes]] = ()
) -> dict[str, Any]:
    """Return what a tablet saves of entries and of photos (blob, SHA-256, bytes)."""
    work, key_id = os.urandom(32), str(new_id())
    events = []
    for entry in entries:
        said = {name: value for name, value in entry.items() if name not in ("tablet", "seq")}
        numbered = {name: entry[name] for name in ("id", "tablet", "seq")}
        locked = box(work, json.dumps(said).encode(), entry["id"])
        events.append({**numbered, "key": key_id, **locked})
    return {
        "format": "maindrain tablet bundle",
        "version": 1,
        "member": str(member.pk),
        "envelopes": [{"id": key_id, **sealed(work)}],
        "events": events,
        "photos": [
            {
                "blob": blob,
                "key": key_id,
                "sha256": sha256,
                "type": "image/jpeg",
                **box(work, content, blob),
            }
            for blob, sha256, content in photos
        ],
    }


def _text(content: bytes) -> str:
    return b64encode(content).decode()
