"""The front-end parts are pinned, named and there; nothing says where they were fetched."""

import json
import re

from config import vendor


def lock() -> dict[str, dict[str, object]]:
    text = (vendor.ROOT / "package-lock.json").read_text("utf-8")
    return {name: entry for name, entry in json.loads(text)["packages"].items() if name}


def test_every_copy_is_in_the_static_folder():
    missing = [copy for copy in vendor.COPIES.values() if not (vendor.STATIC / copy).is_file()]

    assert missing == []


def test_everything_vendored_is_named_as_a_copy():
    held = {
        str(path.relative_to(vendor.STATIC))
        for folder in ("vendor", "fonts")
        for path in (vendor.STATIC / folder).rglob("*")
        if path.is_file()
    }

    assert held == set(vendor.COPIES.values())


def test_versions_are_pinned_and_the_lock_follows_them():
    wanted = json.loads((vendor.ROOT / "package.json").read_text("utf-8"))["dependencies"]

    for name, version in wanted.items():
        assert re.fullmatch(r"\d+\.\d+\.\d+", version), name
        assert lock()[f"node_modules/{name}"]["version"] == version


def test_the_lock_proves_each_package_and_names_no_host():
    assert lock()
    for name, entry in lock().items():
        assert str(entry["integrity"]).startswith("sha512-"), name
    assert "://" not in (vendor.ROOT / "package-lock.json").read_text("utf-8")


def test_every_package_is_copied_with_its_licence():
    for name in lock():
        package = name.removeprefix("node_modules/")
        assert f"{package}/LICENSE" in vendor.COPIES


def test_links_to_source_maps_are_taken_out(tmp_path):
    script = tmp_path / "part.js"
    script.write_text("export const a = 1;\n//# sourceMappingURL=part.js.map\n")
    picture = tmp_path / "part.png"
    picture.write_bytes(b"//# sourceMappingURL=kept\n")

    assert vendor._without_source_map(script) == b"export const a = 1;\n"
    assert vendor._without_source_map(picture) == picture.read_bytes()
