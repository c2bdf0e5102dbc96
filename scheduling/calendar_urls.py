"""Pages of a building's year and its reasons."""

from django.urls import path

from scheduling import calendar_views as views

urlpatterns = [
    path("buildings/<uuid:building_id>/year/", views.building_calendar, name="building_year"),
    path("buildings/<uuid:building_id>/why/", views.building_why, name="building_why"),
    path("buildings/<uuid:building_id>/answer/", views.building_answer, name="building_answer"),
]
