"""The technician's app: one static page, which works from the packs that it pulls."""

import json
from functools import cache
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_GET

from contractors.doors import FIELD, ContractorRequest, contractor_page
from inspections import rescue

_STYLES = ("tokens", "base", "drawing", "tablet")
_LOOKS = ("symbols.svg", "icon.svg", "tablet.webmanifest", "tablet-192.png")
_PARTS = ("idb/idb.js", "qr/decode.js", "qr/index.js")
_STATIC = Path(__file__).parent / "static" / "inspections"
_MODULES, _WORKER = _STATIC / "tablet", _STATIC / "worker.js"
_FONT = "contractors/fonts/atkinson-hyperlegible-next-latin-wght-normal.woff2"


@require_GET
@ensure_csrf_cookie
@contractor_page(*FIELD)
def tablet(request: ContractorRequest) -> HttpResponse:
    """Show the app's page; all it says comes from its own modules."""
    shown = {
        "language": get_language(),
        "styles": [f"contractors/{name}.css" for name in _STYLES],
        "office": rescue.public_key(),
    }
    return render(request, "inspections/tablet.html", shown)


@require_GET
@never_cache
def worker(request: HttpRequest) -> HttpResponse:
    """Give the script that keeps the app on the tablet, with the files of this build."""
    shell = {
        "build": settings.BUILD,
        "page": reverse("tablet"),
        "files": [static(name) for name in shell_files()],
    }
    script = f"const SHELL = {json.dumps(shell)};\n{_WORKER.read_text()}"
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


@cache
def shell_files() -> tuple[str, ...]:
    """Return the names of all static files that the app needs to open."""
    return (
        *(f"contractors/{name}.css" for name in _STYLES),
        *(f"contractors/{name}" for name in _LOOKS),
        *(f"contractors/vendor/{name}" for name in _PARTS),
        _FONT,
        *sorted(f"inspections/tablet/{path.name}" for path in _MODULES.glob("*.js")),
    )
