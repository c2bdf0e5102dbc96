"""The scheduling app: what is due when, how a building stands, who goes where."""

from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    """Due dates, standing, plans and follow-ups."""

    name = "scheduling"

    def ready(self) -> None:
        """Register handlers of the outbox, panels of buildings, tables for export, calendars."""
        from scheduling import calendar_feeds, due, exported, panels, searching  # noqa: F401

        panels.register()
        exported.register()
        calendar_feeds.register()
