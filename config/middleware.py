"""A refusal raised anywhere becomes a page, a fragment or problem JSON in the same words."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from buildings.units import UnitRefused
from config import limits
from config.api import problem_response
from contractors.refusal import Refusal
from inspections.events.fields import EventRefused
from inspections.hydraulics.computation import InputRefused


class _Entered(Refusal):
    """A field that the record does not accept; the sentence names field, value and accepted."""

    code = "invalid"
    status = 400
    sentence = "%(sentence)s"


class RefusalMiddleware:
    """Answers a page's refusal; the API has its own handler with the same words."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Show a refusal; leave everything else to Django."""
        if isinstance(error, EventRefused | InputRefused | UnitRefused):
            error = _Entered(sentence=str(error))
        if not isinstance(error, Refusal):
            return None
        answer = self._answer(request, error)
        if error.wait is not None:
            answer["Retry-After"] = str(error.wait)
        return answer

    def process_view(self, request: HttpRequest, *_view: Any) -> HttpResponse | None:
        """Turn a request away that came too often; no transaction is open yet."""
        try:
            limits.spend(request)
        except Refusal as refused:
            return self.process_exception(request, refused)
        return None

    def _answer(self, request: HttpRequest, error: Refusal) -> HttpResponse:
        if request.path.startswith("/api/"):
            return problem_response(error.status, error.message(), code=error.code)
        fragment = bool(getattr(request, "htmx", False)) and not request.htmx.boosted  # type: ignore[attr-defined]
        template = "_refusal.html" if fragment else "refusal.html"
        return render(request, template, {"refusal": error}, status=error.status)
