"""Calendars: the pages where they are made and revoked, and the address that programs fetch."""

import hashlib
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from contractors import calendars
from contractors.doors import FIELD, OFFICE, contractor_page, owner_page
from contractors.models import CalendarFeed
from contractors.refusal import Refusal


@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """Give a calendar to whoever knows its secret; an unknown one answers like a page not there."""
    try:
        content = calendars.document(token, address_base(request), timezone.now())
    except Refusal as refused:
        answer = HttpResponse(status=refused.status, content_type="text/plain")
        if refused.status == 429:
            answer["Retry-After"] = str(int(calendars.COUNTED_FOR.total_seconds()))
    else:
        etag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
        fresh = HttpResponse(content, content_type=calendars.MEDIA_TYPE)
        fresh["ETag"] = etag
        answer = get_conditional_response(request, etag=etag, response=fresh) or fresh
    answer["Cache-Control"] = "private, no-cache"
    answer["Referrer-Policy"] = "no-referrer"
    answer["X-Robots-Tag"] = "noindex"
    return answer


def address_base(request: HttpRequest) -> str:
    """Return the address under which programs reach this service."""
    return settings.PUBLIC_URL or request.build_absolute_uri("/").rstrip("/")


def _page(request: Any) -> HttpResponse:
    door = request.door
    status, context = 200, {}
    if request.method == "POST":
        try:
            feed, token = calendars.make(
                door, label=request.POST.get("label", ""), **_asked(request)
            )
        except Refusal as refused:
            status = refused.status
            context = {"refusal": refused, "typed": request.POST.get("label", "")}
        else:
            path = reverse("calendar", args=[token])
            context = {"made": feed, "address": address_base(request) + path}
    context |= {
        "feeds": [(feed, _subject(door, feed)) for feed in calendars.of(door)],
        "choices": [
            (kind, CalendarFeed.Kind(kind).label, calendars.contents[kind].subjects(door))
            for kind in calendars.kinds_for(door)
        ],
        "revoke": "calendar_revoke" if door.member else "owner_calendar_revoke",
        "hours": int(calendars.REFRESH.total_seconds() // 3600),
    }
    template = "contractors/calendars.html" if door.member else "contractors/owner_calendars.html"
    return render(request, template, context, status=status)


def _asked(request: Any) -> dict[str, Any]:
    kind, _colon, subject = request.POST.get("what", "").partition(":")
    try:
        return {"kind": kind, "subject_id": UUID(subject) if subject else None}
    except ValueError:
        return {"kind": kind, "subject_id": UUID(int=0)}


def _subject(door: Any, feed: CalendarFeed) -> str:
    names = dict(calendars.contents[feed.kind].subjects(door))
    return names.get(feed.subject_id, "") if feed.subject_id else ""


def _revoke(request: Any, feed_id: UUID) -> HttpResponse:
    calendars.revoke(request.door, feed_id)
    messages.success(request, _("Revoked. Programs that have the address get nothing any more."))
    return redirect("calendars" if request.door.member else "owner_calendars")


_roles = tuple(dict.fromkeys((*OFFICE, *FIELD)))
_desk, _owner = contractor_page(*_roles), owner_page()
_asks = require_http_methods(["GET", "POST"])

calendar_list, owner_calendar_list = _asks(_desk(_page)), _asks(_owner(_page))
calendar_revoke, owner_calendar_revoke = (
    require_POST(_desk(_revoke)),
    require_POST(_owner(_revoke)),
)
