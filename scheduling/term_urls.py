"""Pages of what decides due days at a building."""

from django.urls import path

from scheduling import off_limit_views, turn_views
from scheduling import term_views as views

urlpatterns = [
    path("buildings/<uuid:building_id>/terms/", views.term_list, name="terms"),
    path("buildings/<uuid:building_id>/regimes/new/", views.regime_new, name="regime_new"),
    path("buildings/<uuid:building_id>/due-days/", views.due_setting_new, name="due_setting_new"),
    path(
        "buildings/<uuid:building_id>/off-limits/new/",
        off_limit_views.off_limits_new,
        name="off_limits_new",
    ),
    path("off-limits/<uuid:off_id>/end/", off_limit_views.off_limits_end, name="off_limits_end"),
    path("buildings/<uuid:building_id>/rest/new/", views.rest_new, name="rest_new"),
    path("buildings/<uuid:building_id>/turns/", turn_views.turn_order_new, name="turn_order_new"),
    path("regimes/<uuid:regime_id>/end/", views.regime_end, name="regime_end"),
    path("rest/<uuid:matter>/back/", views.rest_back, name="rest_back"),
    path("rest/<uuid:matter>/withdraw/", views.rest_withdraw, name="rest_withdraw"),
]
