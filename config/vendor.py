"""Copy the front-end parts that package.json pins into the static folders.

`python -m config.vendor` installs them by package-lock.json in a temporary folder and copies the
files named below; `--check` only says which copies differ. The copies are committed, so that
neither a server nor a browser fetches anything from elsewhere.
"""

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
STATIC = ROOT / "contractors" / "static" / "contractors"
FONT = "@fontsource-variable/atkinson-hyperlegible-next"

#: File of a package -> file below the static folder of contractors.
COPIES = {
    f"{FONT}/LICENSE": "fonts/OFL.txt",
    **{
        f"{FONT}/files/{name}": f"fonts/{name}"
        for name in (
            "atkinson-hyperlegible-next-latin-wght-normal.woff2",
            "atkinson-hyperlegible-next-latin-ext-wght-normal.woff2",
        )
    },
    "idb/LICENSE": "vendor/idb/LICENSE",
    "idb/build/index.js": "vendor/idb/idb.js",
    "qr/LICENSE": "vendor/qr/LICENSE",
    "qr/decode.js": "vendor/qr/decode.js",
    "qr/index.js": "vendor/qr/index.js",
    "leaflet/LICENSE": "vendor/leaflet/LICENSE",
    "leaflet/dist/leaflet-src.esm.js": "vendor/leaflet/leaflet.js",
    "leaflet/dist/leaflet.css": "vendor/leaflet/leaflet.css",
    **{
        f"leaflet/dist/images/{name}": f"vendor/leaflet/images/{name}"
        for name in (
            "layers.png",
            "layers-2x.png",
            "marker-icon.png",
            "marker-icon-2x.png",
            "marker-shadow.png",
        )
    },
}
SOURCE_MAP = re.compile(rb"^(//|/\*)# sourceMappingURL=.*\n?", re.MULTILINE)


def install(folder: Path) -> Path:
    """Install the pinned packages into a folder and return where they are."""
    npm = shutil.which("npm")
    if npm is None:
        raise SystemExit("npm is not on the path: install Node.js to renew the front-end parts")
    for name in ("package.json", "package-lock.json", ".npmrc"):
        shutil.copy(ROOT / name, folder / name)
    subprocess.run([npm, "ci", "--ignore-scripts"], cwd=folder, check=True)  # noqa: S603
    return folder / "node_modules"


def contents(packages: Path) -> dict[Path, bytes]:
    """Return what each copy holds: the packages' files, without links to absent source maps."""
    return {
        STATIC / copy: _without_source_map(packages / original) for original, copy in COPIES.items()
    }


def _without_source_map(path: Path) -> bytes:
    held = path.read_bytes()
    return SOURCE_MAP.sub(b"", held) if path.suffix in {".js", ".css"} else held


def main(arguments: list[str]) -> int:
    """Write the copies, or with `--check` compare them; 1 when a copy differs."""
    parser = argparse.ArgumentParser(prog="python -m config.vendor", description=__doc__)
    parser.add_argument("--check", action="store_true", help="only say which copies differ")
    only_check = parser.parse_args(arguments).check
    with tempfile.TemporaryDirectory() as folder:
        wanted = contents(install(Path(folder)))
    differing = [
        path for path, held in wanted.items() if not path.exists() or path.read_bytes() != held
    ]
    for path in differing:
        sys.stdout.write(f"{path.relative_to(ROOT)}\n")
        if not only_check:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(wanted[path])
    return 1 if only_check and differing else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
