"""Addresses of the tablet's side of the API, under /api/v1/."""

from django.urls import path

from inspections.api import sync, uploads

urlpatterns = [
    path("sync/tablets/", sync.Tablets.as_view(), name="api-sync-tablets"),
    path("sync/pull/", sync.Pull.as_view(), name="api-sync-pull"),
    path("sync/push/", sync.Push.as_view(), name="api-sync-push"),
    path("sync/receipts/", sync.Receipts.as_view(), name="api-sync-receipts"),
    path("blobs/", uploads.Uploads.as_view(), name="api-uploads"),
    path("blobs/<uuid:blob>/", uploads.OneUpload.as_view(), name="api-upload"),
]
