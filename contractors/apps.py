"""The contractors app: who works here, and whose rows are whose."""

from datetime import UTC

from django.apps import AppConfig


class ContractorsConfig(AppConfig):
    """Registers the checks that every table has its keys."""

    name = "contractors"
    default_auto_field = "django.db.models.UUIDField"

    def ready(self) -> None:
        """Register the system checks, the handlers of the outbox and the tables for export."""
        from rest_framework.serializers import DateTimeField

        from contractors import checks, exported, notices, scope  # noqa: F401

        # Days in the interface are the contractor's; moments are told, and read, in UTC.
        DateTimeField.timezone = UTC
        exported.register()
