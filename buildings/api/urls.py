"""Addresses of the buildings app's API, under /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from buildings.api import sketches, views

router = SimpleRouter()
router.register("contractors", views.Contractors, basename="api-contractor")
router.register("people", views.People, basename="api-person")
router.register("jurisdictions", views.Jurisdictions, basename="api-jurisdiction")
router.register("buildings", views.Buildings, basename="api-building")
router.register("systems", views.Systems, basename="api-system")
router.register("risers", views.Risers, basename="api-riser")
router.register("devices", views.Devices, basename="api-device")
router.register("sketches", sketches.Sketches, basename="api-sketch")

urlpatterns = [*router.urls, path("imports/", views.Imports.as_view(), name="api-import")]
