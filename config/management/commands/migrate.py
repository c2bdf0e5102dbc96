"""`manage.py migrate`: as Django's, as the schema role and with the scope's guard off."""

from typing import Any

from django.conf import settings
from django.core.management.commands.migrate import Command as Migrate
from django.db import connections

from config.settings import database
from contractors.scope import schema_work


class Command(Migrate):
    """Migrate as the schema role where one is set."""

    def handle(self, *args: Any, **options: Any) -> None:
        """Run the migrations."""
        connection = connections[options["database"]]
        as_app = dict(connection.settings_dict)
        if settings.SCHEMA_DATABASE_URL != settings.DATABASE_URL:
            as_schema = database(settings.SCHEMA_DATABASE_URL)
            connection.close()
            for key in ("USER", "PASSWORD", "OPTIONS"):
                connection.settings_dict[key] = as_schema[key]
            connection.settings_dict["OPTIONS"] = {}
        try:
            with schema_work():
                super().handle(*args, **options)
        finally:
            connection.close()
            connection.settings_dict.update(as_app)
