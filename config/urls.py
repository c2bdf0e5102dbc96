"""Every address of the service, on one screen."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from config import lan, views
from inspections.tablet import tablet, worker
from inspections.verify import verify

urlpatterns = [
    path("", views.home, name="home"),
    path("ca.crt", lan.ca_certificate, name="ca_certificate"),
    path("healthz", views.healthz, name="healthz"),
    path("choose/", views.choose, name="choose_door"),
    path("account/", include("allauth.urls")),
    path("verify/<str:code>/", verify, name="verify"),
    path("tablet/", tablet, name="tablet"),
    path("tablet/worker.js", worker, name="tablet_worker"),
    path("", include("contractors.urls")),
    path("", include("contractors.search_urls")),
    path("", include("buildings.urls")),
    path("", include("inspections.urls")),
    path("", include("inspections.people_urls")),
    path("", include("scheduling.urls")),
    path("", include("scheduling.calendar_urls")),
    path("", include("scheduling.sample_urls")),
    path("", include("scheduling.term_urls")),
    path("api/v1/", include("contractors.api.urls")),
    path("api/v1/", include("contractors.api.search_urls")),
    path("api/v1/", include("buildings.api.urls")),
    path("api/v1/", include("scheduling.api.urls")),
    path("api/v1/", include("scheduling.api.sample_urls")),
    path("api/v1/", include("scheduling.api.term_urls")),
    path("api/v1/", include("inspections.api.people_urls")),
    path("api/v1/", include("inspections.api.urls")),
    path("api/v1/", include("inspections.api.sync_urls")),
    path("api/", views.api_page, name="api_page"),
    path("api/schema/", SpectacularAPIView.as_view(), name="schema"),
]

handler400 = "config.views.bad_request"
handler403 = "config.views.permission_denied"
handler404 = "config.views.page_not_found"
handler500 = "config.views.server_error"
