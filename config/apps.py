"""The project itself as an application: it makes the Celery application known to every process."""

from django.apps import AppConfig


class Config(AppConfig):
    """Settings, doors and commands."""

    name = "config"

    def ready(self) -> None:
        """Load the Celery application and its broker settings, and what can be searched."""
        from config import celery, search  # noqa: F401

        search.register()
