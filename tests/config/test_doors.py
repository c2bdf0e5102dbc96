"""Every route with another contractor's objects: the answer is that of an id that stands nowhere.

`routes.py` has one row for each route; a route without one fails the run.
"""

import re
from uuid import UUID, uuid4

import pytest

from contractors.models import OutboxMessage
from inspections.models import (
    Event,
    Finding,
    Impairment,
    Result,
    Visit,
)
from scheduling.models import FollowUp, Occurrence, Plan, Stop
from tests.config.routes import OPEN, OWNERS, TABLE, WITHOUT_ID, filled, routes
from tests.config.strangers import CANARY, rows_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def their_rows(theirs):
    return rows_of(theirs)


def test_every_route_has_a_row_in_the_table():
    assert set(routes()) == {*OPEN, *WITHOUT_ID, *TABLE}


def plain(answer, key):
    """Return status and body without what is new in every answer."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    text = body.decode("utf-8", "replace").replace(str(key), "ID").replace(UUID(str(key)).hex, "ID")
    return answer.status_code, re.sub(r'"x-csrftoken": "[^"]*"', "", text)


def their_digest(theirs):
    with theirs.scope():
        models = (Visit, Finding, Impairment, Result, Plan, Stop, Occurrence, Event, FollowUp)
        counted = [list(m.objects.order_by("id").values_list()) for m in models]
    jobs = OutboxMessage.objects.filter(contractor=theirs.contractor).order_by("pk")
    return counted, list(jobs.values_list("pk", "state"))


def test_a_strangers_id_answers_as_an_id_that_stands_nowhere(
    ours, theirs, their_rows, as_manager, as_owner, api
):
    tokens = {"owner": api(ours.access), "member": api(ours.manager)}
    before, probes = their_digest(theirs), 0
    for name, pattern in routes().items():
        if name not in TABLE:
            continue
        key, nowhere = their_rows[TABLE[name]], uuid4()
        whose = "owner" if OWNERS.search(name) else "member"
        page = as_owner if whose == "owner" else as_manager
        client = tokens[whose] if name.startswith("api-") else page
        for method in ("get", "post", "patch", "put", "delete"):
            extra = {} if method == "get" else {"HTTP_IDEMPOTENCY_KEY": f"{name}-{method}"}
            mine = plain(getattr(client, method)(filled(pattern, key), **extra), key)
            extra = {} if method == "get" else {"HTTP_IDEMPOTENCY_KEY": f"{name}-{method}-2"}
            none = plain(getattr(client, method)(filled(pattern, nowhere), **extra), nowhere)
            probes += 1
            assert mine == none, (name, method)
            assert mine[0] in (400, 403, 404, 405), (name, method, mine[0])
            assert method != "get" or mine[0] in (404, 405), (name, mine[0])
            assert CANARY not in mine[1], (name, method)
    assert probes > 5 * 90
    assert their_digest(theirs) == before


def test_no_list_shows_anothers_words(ours, theirs, their_rows, as_manager, as_owner, api):
    tokens = {"owner": api(ours.access), "member": api(ours.manager)}
    ids = {str(key) for key in their_rows.values()}
    for name, pattern in routes().items():
        if name not in WITHOUT_ID:
            continue
        whose = "owner" if OWNERS.search(name) else "member"
        page = as_owner if whose == "owner" else as_manager
        client = tokens[whose] if name.startswith("api-") else page
        answer = client.get(filled(pattern, ""))
        assert answer.status_code < 500, name
        text = plain(answer, uuid4())[1]
        assert CANARY not in text, name
        assert not {key for key in ids if key in text}, name


def test_without_a_sign_in_nothing_opens(client, theirs, their_rows):
    for name, pattern in routes().items():
        if name in OPEN or name == "verify":
            continue
        key = their_rows[TABLE[name]] if name in TABLE else ""
        answer = client.get(filled(pattern, key))
        assert answer.status_code in (302, 401, 403, 405), (name, answer.status_code)
