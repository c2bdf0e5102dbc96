"""Bytes of a contractor in the data folder, each kept once under its own hash."""

from pathlib import Path

import pytest

from contractors import files

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def test_what_is_stored_twice_lies_there_once_and_is_read_from_both_rows(ours, tmp_path):
    with ours.scope():
        first, second = [
            files.store(b"one", media_type="text/plain", name=name) for name in ("a.txt", "b.txt")
        ]
        assert [files.read(first), files.read(second)] == [b"one", b"one"]
    assert len([path for path in tmp_path.rglob("*") if path.is_file()]) == 1


def test_a_stored_file_is_closed(ours):
    opened = Path("/proc/self/fd")
    with ours.scope():
        files.store(b"first", media_type="text/plain", name="first.txt")
        before = len(list(opened.iterdir()))
        for number in range(5):
            files.store(b"%d" % number, media_type="text/plain", name="more.txt")
    assert len(list(opened.iterdir())) == before
