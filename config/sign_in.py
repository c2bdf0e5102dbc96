"""How people sign in: by invitation only, and where they land."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class Adapter(DefaultAccountAdapter):  # type: ignore[misc]
    """Nobody signs up by themselves; a contractor invites them."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Say no."""
        return False

    def get_login_redirect_url(self, request: HttpRequest) -> Any:
        """Go home, which depends on the door that is open to the user."""
        return "/"
