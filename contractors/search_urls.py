"""Addresses of the search."""

from django.urls import path

from contractors import search_views as views

urlpatterns = [
    path("search/", views.find, name="search"),
    path("search/suggestions/", views.suggestions, name="search_suggestions"),
    path("owner/search/", views.owner_find, name="owner_search"),
    path("owner/search/suggestions/", views.owner_suggestions, name="owner_search_suggestions"),
]
