"""Pages of what was read on an item over the years."""

from typing import Any

from django.urls import URLPattern, path

from inspections import past_views as views

urlpatterns: list[URLPattern] = []
for kind in ("system", "riser", "device"):
    given: dict[str, Any] = {"kind": kind}
    base = f"{kind}s/<uuid:item_id>/history/"
    picture = f"{base}<slug:name>"
    urlpatterns += [
        path(base, views.item_history, given, name=f"{kind}_history"),
        path(f"{picture}.svg", views.item_picture, given, name=f"{kind}_picture"),
        path(
            f"{picture}/<slug:point>.svg", views.item_picture, given, name=f"{kind}_picture_point"
        ),
        path(
            f"{kind}s/<uuid:item_id>/years/<slug:name>.svg",
            views.item_years,
            given,
            name=f"{kind}_years",
        ),
    ]

urlpatterns += [
    path(
        f"{kind}s/<uuid:item_id>/tested.svg",
        views.item_tested,
        {"kind": kind},
        name=f"{kind}_tested",
    )
    for kind in ("system", "device")
]
