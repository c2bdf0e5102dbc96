"""Addresses of the scheduling app's part of the API."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from scheduling.api import followups, owner, programme, views

router = SimpleRouter()
router.register("occurrences", views.Occurrences, basename="api-occurrence")
router.register("questions", views.Questions, basename="api-question")
router.register("follow-ups", followups.FollowUps, basename="api-follow-up")
router.register("response-times", followups.ResponseTimes, basename="api-response-time")
router.register("escalation-ladders", followups.Ladders, basename="api-ladder")
router.register("overdue-classes", followups.OverdueClasses, basename="api-overdue-class")
router.register("holidays", followups.Holidays, basename="api-holiday")
router.register("notices", followups.Notices, basename="api-notice")
router.register("plans", views.Plans, basename="api-plan")
router.register("stops", views.Stops, basename="api-stop")
router.register("owner/buildings", owner.OwnerBuildings, basename="api-owner-building")
router.register("owner/items", owner.OwnerItems, basename="api-owner-item")
router.register("owner/reports", owner.OwnerReports, basename="api-owner-report")

urlpatterns = [
    path("occurrences/make-visits/", views.MakeVisits.as_view(), name="api-make-visits"),
    path("plans/<uuid:pk>/publish/", views.PublishPlan.as_view(), name="api-plan-publish"),
    path("follow-ups/redate/", followups.Redate.as_view(), name="api-follow-ups-redate"),
    path("notice-hours/", followups.NoticeHours.as_view(), name="api-notice-hours"),
    path("my-mail/", followups.MyMail.as_view(), name="api-my-mail"),
    path("standings/", views.Standings.as_view(), name="api-standings"),
    path(
        "buildings/<uuid:pk>/programme/",
        programme.BuildingProgramme.as_view(),
        name="api-building-programme",
    ),
    path("buildings/<uuid:pk>/why/", programme.BuildingWhy.as_view(), name="api-building-why"),
    *router.urls,
]
