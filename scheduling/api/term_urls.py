"""Addresses of what decides due days in the API, under /api/v1/."""

from rest_framework.routers import SimpleRouter

from scheduling.api import terms

router = SimpleRouter()
router.register("regimes", terms.Regimes, basename="api-regime")
router.register("due-settings", terms.DueSettings, basename="api-due-setting")
router.register("suspensions", terms.Suspensions, basename="api-suspension")
router.register("off-limits", terms.OffLimitDays, basename="api-off-limits")
router.register("turn-orders", terms.TurnOrders, basename="api-turn-order")

urlpatterns = router.urls
