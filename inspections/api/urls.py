"""Addresses of the inspections app's API, under /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from inspections.api import (
    catalogue,
    findings,
    held,
    practice,
    rules,
    supplies,
    trends,
    valve_model,
    visits,
)

router = SimpleRouter()
router.register("visits", visits.Visits, basename="api-visit")
router.register("results", visits.Results, basename="api-result")
router.register("readings", visits.Readings, basename="api-reading")
router.register("photos", visits.Photos, basename="api-photo")
router.register("reports", visits.Reports, basename="api-report")
router.register("findings", findings.Findings, basename="api-finding")
router.register("impairments", findings.Impairments, basename="api-impairment")
router.register("held", held.Held, basename="api-held")
router.register("tablets", held.Tablets, basename="api-tablet")
router.register("rules", rules.Rules, basename="api-rule")
router.register("supply-points", supplies.SupplyPoints, basename="api-supply-point")
router.register("valve-model/runs", valve_model.ValveRuns, basename="api-valve-run")
router.register("practice/exercises", practice.Exercises, basename="api-practice-exercise")
router.register("practice/runs", practice.Runs, basename="api-practice-run")
router.register("catalogue-versions", catalogue.Versions, basename="api-catalogue-version")
router.register("activities", catalogue.Activities, basename="api-activity")

urlpatterns = [
    *router.urls,
    path(
        "margins/<uuid:pk>.svg",
        supplies.MarginPictures.as_view({"get": "picture"}),
        name="api-margin-picture",
    ),
    path(
        "visits/<uuid:pk>/tests/<uuid:item>.svg",
        visits.TestPictures.as_view({"get": "picture"}),
        name="api-visit-test-picture",
    ),
    path(
        "calculations/",
        catalogue.Calculations.as_view({"get": "list"}),
        name="api-calculation-list",
    ),
    path(
        "calculations/<slug:pk>/",
        catalogue.Calculations.as_view({"get": "retrieve", "post": "evaluate"}),
        name="api-calculation-detail",
    ),
    path(
        "valve-model/types/",
        valve_model.ValveTypes.as_view({"get": "list"}),
        name="api-valve-type-list",
    ),
    path(
        "valve-model/types/<slug:pk>/",
        valve_model.ValveTypes.as_view({"get": "retrieve"}),
        name="api-valve-type-detail",
    ),
    path(
        "valve-model/evaluate/",
        valve_model.ValveTypes.as_view({"post": "evaluate"}),
        name="api-valve-evaluate",
    ),
    *(
        path(
            f"{kind}s/<uuid:pk>/trends/",
            trends.Trends.as_view({"get": "retrieve"}, kind=kind),
            name=f"api-{kind}-trends",
        )
        for kind in ("system", "riser", "device")
    ),
    *(
        path(
            f"{kind}s/<uuid:pk>/trends/<slug:name>.svg",
            trends.Trends.as_view({"get": "picture"}, kind=kind),
            name=f"api-{kind}-trend-picture",
        )
        for kind in ("system", "riser", "device")
    ),
]
