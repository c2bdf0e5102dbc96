"""Hooks of the web server, which loads the application once and forks its workers afterwards."""

from typing import Any

from config.warm import PAGES, warm


def when_ready(server: Any) -> None:
    """Load the heavy libraries and the pages before the first worker is forked."""
    warm(PAGES)
