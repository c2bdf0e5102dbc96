"""What a tablet sealed to this installation only this one opens, also after a change of its key."""

from base64 import b64encode
from typing import Any

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from pytest_django.fixtures import Settings

from inspections import rescue
from tests.inspections.bundles import sealed

WORK = bytes(range(32))


def test_the_key_of_a_tablet_comes_back() -> None:
    assert rescue.work_key(sealed(WORK)) == WORK


def test_a_key_sealed_before_the_secret_was_changed_still_opens(settings: Settings) -> None:
    envelope, before = sealed(WORK), settings.SECRET_KEY
    settings.SECRET_KEY = "another one " * 5
    with pytest.raises(rescue.NotOurs):
        rescue.work_key(envelope)
    settings.SECRET_KEY_FALLBACKS = [before]
    assert rescue.work_key(envelope) == WORK


@pytest.mark.parametrize(
    "change",
    [
        {"half": ""},
        {"half": None},
        {"half": b64encode(bytes(65)).decode()},
        {"iv": "AAAA"},
        {"data": b64encode(bytes(48)).decode()},
        {"data": "é"},
    ],
)
def test_an_envelope_that_was_changed_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(rescue.NotOurs):
        rescue.work_key(sealed(WORK) | change)


def test_an_envelope_without_a_part_is_refused() -> None:
    with pytest.raises(rescue.NotOurs):
        rescue.work_key({})


def test_a_box_opens_only_under_its_own_name() -> None:
    iv = bytes(12)
    data = AESGCM(WORK).encrypt(iv, b"{}", b"this one")
    box = {"iv": b64encode(iv).decode(), "data": b64encode(data).decode()}
    assert rescue.opened(WORK, box, "this one") == b"{}"
    with pytest.raises(rescue.NotOurs):
        rescue.opened(WORK, box, "another one")
