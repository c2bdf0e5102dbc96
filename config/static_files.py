"""Static files under an address that changes with their content, so that they may be kept for ever.

Modules import each other by relative paths, so all files of a build share one folder name.
"""

import hashlib
from functools import cache
from pathlib import Path

from whitenoise.compress import Compressor
from whitenoise.storage import CompressedStaticFilesStorage

APPS = ("contractors", "buildings", "inspections", "scheduling", "config")


@cache
def build(base: Path) -> str:
    """Return a short hash over all static files of the project and its pinned packages."""
    digest = hashlib.sha256()
    lock = base / "requirements.lock"
    paths = sorted(p for app in APPS for p in (base / app / "static").rglob("*") if p.is_file())
    for path in [*paths, lock]:
        digest.update(str(path.relative_to(base)).encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


class Storage(CompressedStaticFilesStorage):  # type: ignore[misc]
    """Plain names, gzip beside them; the folder name carries the build."""

    def create_compressor(self, **kwargs: object) -> Compressor:
        """Leave brotli out: it costs more time at start than it saves on the way."""
        return Compressor(use_brotli=False, **kwargs)
