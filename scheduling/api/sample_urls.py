"""Addresses of samples in the API, under /api/v1/."""

from rest_framework.routers import SimpleRouter

from scheduling.api.samples import Samples

router = SimpleRouter()
router.register("samples", Samples, basename="api-sample")

urlpatterns = router.urls
