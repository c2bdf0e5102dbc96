"""Pages of the contractor's people and their licences."""

from django.urls import path

from inspections import people_views as people

urlpatterns = [
    path("people/", people.people, name="people"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/<uuid:person_id>/licence/", people.licence_new, name="licence_new"),
    path("people/members/<uuid:member_id>/answers/", people.member_answers, name="member_answers"),
    path("licences/<uuid:licence_id>/renew/", people.licence_renew, name="licence_renew"),
    path("licences/<uuid:licence_id>/end/", people.licence_end, name="licence_end"),
    path("licences/<uuid:licence_id>/scan/", people.licence_scan, name="licence_scan"),
]
