"""The service's own pages: home, health, choosing a door, errors."""

from typing import Any

from django.contrib.auth.decorators import login_required
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods
from drf_spectacular.generators import SchemaGenerator

from config.api import not_found as api_not_found
from config.api import problem_response
from contractors.doors import Role, choose_door, door_of, doors_of
from contractors.models import User


@require_GET
def healthz(request: HttpRequest) -> JsonResponse:
    """Say that the service answers and its database does."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return JsonResponse({"status": "ready"})


@login_required
@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """Go to the first page of whoever came in."""
    door = door_of(request)
    if door is None:
        return redirect("choose_door")
    if door.member is None:
        return redirect("portfolio")
    return redirect("tablet" if door.role == Role.TECHNICIAN else "today")


@login_required
@require_http_methods(["GET", "POST"])
def choose(request: HttpRequest) -> HttpResponse:
    """Choose whom to work for, where a user has several places or none."""
    assert isinstance(request.user, User)
    doors = doors_of(request.user)
    if request.method == "POST":
        chosen = request.POST.get("door")
        for door in doors:
            if str((door.member or door.access).pk) == chosen:  # type: ignore[union-attr]
                choose_door(request, door)
                return redirect("home")
    return render(request, "choose_door.html", {"doors": doors})


@require_GET
def api_page(request: HttpRequest) -> HttpResponse:
    """List every address of the API with what it does, from its own description."""
    generator = SchemaGenerator()  # type: ignore[no-untyped-call]
    described = generator.get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    groups: dict[str, list[dict[str, str]]] = {}
    for address, methods in described["paths"].items():
        noun = address.removeprefix("/api/v1/").split("/")[0]
        for method, operation in methods.items():
            text = operation.get("summary") or operation.get("description", "")
            line = {"method": method.upper(), "address": address, "does": text.split("\n\n")[0]}
            groups.setdefault(noun, []).append(line)
    return render(request, "api_page.html", {"groups": sorted(groups.items())})


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say that the page was open for too long, and what to do."""
    if request.path.startswith("/api/"):
        return problem_response(403, "The CSRF token is missing or old.", code="csrf")
    return render(request, "403.html", {"reason": "csrf"}, status=403)


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an unknown address."""
    if request.path.startswith("/api/"):
        return api_not_found(request, exception)
    return render(request, "404.html", status=404)


def permission_denied(request: HttpRequest, exception: Any = None) -> HttpResponse:
    """Say that this page is for somebody else."""
    if request.path.startswith("/api/"):
        return problem_response(403, "Your role may not do this.", code="permission_denied")
    return render(request, "403.html", {"reason": "role"}, status=403)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that cannot be read."""
    if request.path.startswith("/api/"):
        return problem_response(400, "The request cannot be read.", code="bad_request")
    return render(request, "400.html", status=400)


def server_error(request: HttpRequest) -> HttpResponse:
    """Say that something broke here, not at the user's end."""
    if request.path.startswith("/api/"):
        return problem_response(500, "Something broke here. It was written down.", code="error")
    return render(request, "500.html", status=500)
