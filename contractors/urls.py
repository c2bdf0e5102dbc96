"""Pages of the contractors app: exports and calendars."""

from django.urls import path

from contractors import calendar_views as calendars
from contractors import export_views as exports

urlpatterns = [
    path("calendars/", calendars.calendar_list, name="calendars"),
    path("calendars/<uuid:feed_id>/revoke/", calendars.calendar_revoke, name="calendar_revoke"),
    path("calendars/<str:token>.ics", calendars.calendar, name="calendar"),
    path("owner/calendars/", calendars.owner_calendar_list, name="owner_calendars"),
    path(
        "owner/calendars/<uuid:feed_id>/revoke/",
        calendars.owner_calendar_revoke,
        name="owner_calendar_revoke",
    ),
    path("exports/", exports.export_list, name="exports"),
    path("exports/progress/", exports.export_progress, name="export_progress"),
    path("exports/<uuid:export_id>/file/", exports.export_file, name="export_file"),
    path("exports/<uuid:export_id>/cancel/", exports.export_cancel, name="export_cancel"),
    path("exports/<uuid:export_id>/retry/", exports.export_retry, name="export_retry"),
    path("owner/exports/", exports.owner_export_list, name="owner_exports"),
    path("owner/exports/progress/", exports.owner_export_progress, name="owner_export_progress"),
    path(
        "owner/exports/<uuid:export_id>/file/", exports.owner_export_file, name="owner_export_file"
    ),
    path(
        "owner/exports/<uuid:export_id>/cancel/",
        exports.owner_export_cancel,
        name="owner_export_cancel",
    ),
    path(
        "owner/exports/<uuid:export_id>/retry/",
        exports.owner_export_retry,
        name="owner_export_retry",
    ),
]
