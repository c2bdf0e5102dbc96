"""Pages of water supply."""

from django.urls import path

from inspections import supply_views as views

urlpatterns = [
    path(
        "buildings/<uuid:building_id>/supplies/", views.building_supplies, name="building_supplies"
    ),
    path("buildings/<uuid:building_id>/supplies/new/", views.supply_new, name="supply_new"),
    path(
        "buildings/<uuid:building_id>/supplies/connect/",
        views.supply_connect,
        name="supply_connect",
    ),
    path("systems/<uuid:system_id>/placard/", views.placard_new, name="placard_new"),
    path("supplies/<uuid:point_id>/", views.supply, name="supply"),
    path("supplies/<uuid:point_id>/tests/new/", views.flow_test_new, name="flow_test_new"),
    path("flow-tests/<uuid:test_id>/correct/", views.flow_test_correct, name="flow_test_correct"),
    path("flow-tests/<uuid:test_id>.svg", views.flow_test_picture, name="flow_test_picture"),
    path("margins/<uuid:margin_id>.svg", views.margin_picture, name="margin_picture"),
]
