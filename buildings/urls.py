"""Addresses of the buildings app's pages."""

from django.urls import path

from buildings import import_views, sketch_views, views

urlpatterns = [
    path("buildings/", views.buildings, name="buildings"),
    path("buildings/export.csv", views.export, name="buildings_export"),
    path("buildings/new/", views.building_new, name="building_new"),
    path("buildings/<uuid:building_id>/", views.building, name="building"),
    path("buildings/<uuid:building_id>/edit/", views.building_edit, name="building_edit"),
    path("buildings/<uuid:building_id>/sketches/", sketch_views.sketch_list, name="sketches"),
    path("buildings/<uuid:building_id>/sketches/new/", sketch_views.sketch_new, name="sketch_new"),
    path("sketches/<uuid:sketch_id>/edit/", sketch_views.sketch_edit, name="sketch_edit"),
    path(
        "sketches/<uuid:sketch_id>/withdraw/", sketch_views.sketch_withdraw, name="sketch_withdraw"
    ),
    path("sketches/<uuid:sketch_id>/picture/", sketch_views.sketch_picture, name="sketch_picture"),
    path("imports/", import_views.portfolio_import, name="portfolio_import"),
    path("imports/apply/", import_views.portfolio_apply, name="portfolio_apply"),
    path("imports/progress/", import_views.portfolio_progress, name="portfolio_progress"),
    path("imports/portfolio.xlsx", import_views.portfolio_sheets, name="portfolio_sheets"),
]
for _kind in ("system", "riser", "device"):
    urlpatterns += [
        path(f"{_kind}s/<uuid:item_id>/", views.item, {"kind": _kind}, name=_kind),
        path(
            f"{_kind}s/<uuid:item_id>/edit/", views.item_edit, {"kind": _kind}, name=f"{_kind}_edit"
        ),
        path(
            f"buildings/<uuid:building_id>/{_kind}s/new/",
            views.item_new,
            {"kind": _kind},
            name=f"{_kind}_new",
        ),
    ]
