"""Calendars made, listed and revoked in the API."""

import json

import pytest

from contractors.models import CalendarFeed, KeptAnswer

pytestmark = pytest.mark.django_db
LIST = "/api/v1/calendars/"


def asked(ours, **other):
    technician = ours.people["technician"].pk
    return {"kind": "technician", "subject": str(technician), "label": "Telephone", **other}


def posted(client, body, **headers):
    return client.post(LIST, json.dumps(body), content_type="application/json", headers=headers)


def test_a_calendar_is_made_fetched_listed_and_revoked(ours, as_manager, client):
    made = posted(as_manager, asked(ours))
    assert made.status_code == 201, made.content
    address = made.json()["address"]
    assert address.startswith("http://testserver/calendars/")
    assert client.get(address).status_code == 200

    (row,) = as_manager.get(LIST).json()["results"]
    assert (row["id"], row["label"]) == (made.json()["id"], "Telephone")
    assert "address" not in row
    one = f"{LIST}{row['id']}/"
    assert as_manager.get(one).json()["last_used_at"] is not None
    assert as_manager.delete(one).status_code == 204
    assert client.get(address).status_code == 404
    assert as_manager.delete(one).status_code == 404


def test_the_secret_is_kept_with_no_answer(ours, as_manager):
    key = {"Idempotency-Key": "one"}
    first, again = (posted(as_manager, asked(ours), **key).json() for _ in range(2))
    secret = first["address"].rpartition("/")[2].removesuffix(".ics")
    assert (again["id"], again["address"]) == (first["id"], None)
    assert CalendarFeed.objects.count() == 1
    with ours.scope():
        assert secret not in json.dumps(KeptAnswer.objects.get().body)


def test_what_is_not_theirs_is_refused_by_name(ours, theirs, as_manager, as_technician):
    stranger = str(theirs.people["technician"].pk)
    refused = posted(as_manager, asked(ours, subject=stranger))
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "subject")
    building = {"kind": "building", "subject": str(ours.building.pk)}
    refused = posted(as_technician, asked(ours, **building))
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "kind")
    assert posted(as_manager, {"kind": "building", "label": ""}).status_code == 400
    assert posted(as_technician, asked(ours)).status_code == 201


def test_an_owner_makes_one_of_all_their_buildings(ours, as_owner, client):
    made = posted(as_owner, {"kind": "owner", "label": "Office"})
    assert made.status_code == 201, made.content
    assert client.get(made.json()["address"]).status_code == 200
    assert [row["label"] for row in as_owner.get(LIST).json()["results"]] == ["Office"]
