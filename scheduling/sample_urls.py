"""Pages of samples for the laboratory."""

from django.urls import path

from scheduling import sample_views as samples

urlpatterns = [
    path("samples/", samples.sample_list, name="samples"),
    path("samples/<uuid:sample_id>/", samples.sample, name="sample"),
    path("samples/<uuid:sample_id>/result/", samples.sample_result, name="sample_result"),
    path("samples/<uuid:sample_id>/replaced/", samples.sample_replace, name="sample_replace"),
    path(
        "samples/<uuid:sample_id>/certificate/",
        samples.sample_certificate,
        name="sample_certificate",
    ),
    path("buildings/<uuid:building_id>/samples/new/", samples.sample_new, name="sample_new"),
]
