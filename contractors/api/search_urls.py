"""Address of the search in the API."""

from django.urls import path

from contractors.api.search import Search

urlpatterns = [path("search/", Search.as_view(), name="api-search")]
