"""The search of the desk and of owners: a page, and what is offered while somebody types."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from contractors import search
from contractors.doors import ContractorRequest, OwnerRequest, contractor_page, owner_page

# While somebody types, beginnings of one letter say too little.
LEAST_LETTERS = 2
OFFERED = 4


@require_GET
@contractor_page()
def find(request: ContractorRequest) -> HttpResponse:
    """Show what is found, grouped; of one kind, all of it."""
    return _page(request, "base.html")


@require_GET
@contractor_page()
def suggestions(request: ContractorRequest) -> HttpResponse:
    """Give the first of each kind while somebody types."""
    return _offered(request)


@require_GET
@owner_page()
def owner_find(request: OwnerRequest) -> HttpResponse:
    """Show what is found among an owner's own rooms."""
    return _page(request, "base_owner.html")


@require_GET
@owner_page()
def owner_suggestions(request: OwnerRequest) -> HttpResponse:
    """Give the first of an owner's own rooms while somebody types."""
    return _offered(request)


def _page(request: Any, base: str) -> HttpResponse:
    text, kind = request.GET.get("q", "").strip()[:200], request.GET.get("kind", "")
    most = search.MOST if kind else search.FIRST
    groups = search.search(text, request.door, most=most, kind=kind)
    context = {"base": base, "search_text": text, "kind": kind, "groups": groups}
    return render(request, "contractors/search.html", context)


def _offered(request: HttpRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()[:200]
    door = request.door  # type: ignore[attr-defined]
    is_told = len(text) >= LEAST_LETTERS
    groups = search.search(text, door, most=OFFERED) if is_told else []
    context = {"search_text": text, "groups": groups, "is_told": is_told}
    return render(request, "contractors/_found.html", context)
