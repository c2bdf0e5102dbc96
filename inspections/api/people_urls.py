"""Addresses of licences in the API, under /api/v1/."""

from rest_framework.routers import SimpleRouter

from inspections.api.licences import Licences

router = SimpleRouter()
router.register("licences", Licences, basename="api-licence")

urlpatterns = router.urls
