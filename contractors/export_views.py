"""Pages of exports: asked for, watched, fetched, called off; at the desk and for owners."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import FileResponse, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contractors import exports
from contractors.doors import OFFICE, contractor_page, owner_page
from contractors.models import AskedExport, Contractor
from contractors.refusal import Refusal

SHOWN = 50
# What stands in an address beside the filters of a list.
NO_FILTERS = ("table", "format", "units", "csrfmiddlewaretoken", "page")


def _page(request: Any) -> HttpResponse:
    door = request.door
    status = 200
    context: dict[str, Any] = {}
    if request.method == "POST":
        try:
            exports.ask(
                door,
                kind=request.POST.get("table", ""),
                format=request.POST.get("format", ""),
                units=request.POST.get("units", ""),
                narrowed=_narrowed(request.POST),
            )
        except Refusal as refused:
            context, status = {"refusal": refused}, refused.status
        else:
            messages.success(request, _("The file is being written. It stands here when ready."))
            return redirect(_names(door)["list"])
    asked = request.POST or request.GET
    narrowed = _narrowed(asked)
    kind = asked.get("table", "")
    context |= {
        **_common(door),
        "tables": exports.offered(door),
        "chosen_kind": kind,
        "narrowed": narrowed if kind else {},
        "formats": AskedExport.Format.choices,
        "chosen_format": asked.get("format") or "csv",
        "units": Contractor.Units.choices,
        "chosen_units": asked.get("units") or (door.contractor.units if door.member else "us"),
        "kept_days": exports.KEPT_FOR.days,
    }
    return render(request, _template(door, "exports"), context, status=status)


def _narrowed(asked: Any) -> dict[str, Any]:
    return {name: value for name, value in asked.items() if name not in NO_FILTERS and value}


def _names(door: Any) -> dict[str, str]:
    before = "" if door.member else "owner_"
    names = {what: f"{before}export_{what}" for what in ("progress", "file", "cancel", "retry")}
    return {"list": f"{before}exports", **names}


def _template(door: Any, name: str) -> str:
    return f"contractors/{name}.html" if door.member else f"contractors/owner_{name}.html"


def _common(door: Any) -> dict[str, Any]:
    rows = list(exports.of(door)[:SHOWN])
    titles = {table.name: table.title for table in exports.offered(door)}
    return {
        "rows": [(row, titles.get(row.kind, row.kind)) for row in rows],
        "under_way": any(row.is_under_way for row in rows),
        "to": _names(door),
    }


def _progress(request: Any) -> HttpResponse:
    return render(request, "contractors/_exports.html", _common(request.door))


def _file(request: Any, export_id: UUID) -> Any:
    return file_of(request.door, exports.export_for(request.door, export_id))


def file_of(door: Any, export: Any) -> FileResponse:
    """Return the file of an export as an answer, for page and API."""
    content = exports.fetched(door, export)
    return FileResponse(
        content,
        as_attachment=True,
        filename=export.file.name,
        content_type=export.file.media_type,
    )


def _cancel(request: Any, export_id: UUID) -> HttpResponse:
    exports.cancel(request.door, exports.export_for(request.door, export_id))
    return redirect(_names(request.door)["list"])


def _retry(request: Any, export_id: UUID) -> HttpResponse:
    exports.retry(request.door, exports.export_for(request.door, export_id))
    return redirect(_names(request.door)["list"])


_desk, _owner = contractor_page(*OFFICE), owner_page()
_reads, _asks = require_GET, require_http_methods(["GET", "POST"])

export_list, owner_export_list = _asks(_desk(_page)), _asks(_owner(_page))
export_progress, owner_export_progress = _reads(_desk(_progress)), _reads(_owner(_progress))
export_file, owner_export_file = _reads(_desk(_file)), _reads(_owner(_file))
export_cancel, owner_export_cancel = require_POST(_desk(_cancel)), require_POST(_owner(_cancel))
export_retry, owner_export_retry = require_POST(_desk(_retry)), require_POST(_owner(_retry))
