"""Addresses of the contractors app's part of the API."""

from rest_framework.routers import SimpleRouter

from contractors.api.calendars import Calendars
from contractors.api.exports import Exports
from contractors.api.members import Members

router = SimpleRouter()
router.register("calendars", Calendars, basename="api-calendar")
router.register("exports", Exports, basename="api-export")
router.register("members", Members, basename="api-member")

urlpatterns = router.urls
