"""Who asks far too often is told to wait, and nobody else is."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from contractors import limits
from contractors.models import Allowance, User, new_id
from tests import scene
from tests.inspections import tablets
from tests.parallel import at_once

PASSWORD = "nine sprinklers in a row"
LOGIN = "/account/login/"


@pytest.fixture
def clock(monkeypatch):
    at = [datetime(2026, 11, 25, 14, 5, tzinfo=UTC)]
    monkeypatch.setattr(timezone, "now", lambda: at[0])

    def later(**span):
        at[0] += timedelta(**span)

    return later


def asked(who, times, name="push"):
    """Ask so often; return how often it was allowed, and the wait told at last."""
    allowed, wait = 0, None
    for _each in range(times):
        try:
            limits.spend(name, who)
            allowed += 1
        except limits.AskedTooOften as refused:
            wait = refused.wait
    return allowed, wait


@pytest.mark.django_db
def test_an_allowance_is_spent_and_comes_back_steadily(clock, settings):
    settings.REQUEST_LIMITS = {"push": (3, 30)}
    assert asked("a", 8) == (3, 10)
    assert asked("b", 1) == (1, None)
    clock(seconds=4)
    assert asked("a", 5) == (0, 6)
    clock(seconds=6)
    assert asked("a", 2) == (1, 10)
    clock(hours=1)
    assert asked("a", 4) == (3, 10)
    limits.give_back("push", "a")
    assert asked("a", 2) == (1, 10)
    clock(seconds=31)
    limits.drop_whole(timezone.now())
    assert not Allowance.objects.exists()


@pytest.mark.django_db
def test_a_clock_set_back_keeps_nobody_out_until_it_was_that_late_again(clock, settings):
    settings.REQUEST_LIMITS = {"push": (3, 30)}
    clock(days=1)
    assert asked("a", 4) == (3, 10)
    clock(seconds=-20)
    assert asked("a", 1) == (0, 30)
    clock(hours=-23)
    assert asked("a", 8) == (3, 10)


@pytest.mark.usefixtures("committed_database")
def test_of_many_requests_at_once_no_more_are_allowed(settings):
    settings.REQUEST_LIMITS = {"login": (5, 900)}
    answers = at_once(*[lambda: asked("a", 1, "login")[0]] * 20)
    assert sum(answers) == 5


@pytest.mark.django_db
def test_guesses_at_a_password_are_turned_away_and_count_for_that_account_alone(client, settings):
    settings.REQUEST_LIMITS = {"login": (3, 900), "login_address": (9, 900)}
    mara = User.objects.create_user("mara@quillmere.example", PASSWORD, name="Mara Quist")
    User.objects.create_user("ines@quillmere.example", PASSWORD, name="Ines Quist")

    def tried(login, password, **more):
        return client.post(LOGIN, {"login": login, "password": password}, **more)

    told = [tried(mara.email.upper(), f"guess {one}").status_code for one in range(3)]
    assert told == [200, 200, 200]
    refused = tried(mara.email, PASSWORD, headers={"X-Forwarded-For": "192.0.2.7"})
    assert refused.status_code == 429
    assert 200 <= int(refused["Retry-After"]) <= 300
    assert "Try again in 300 seconds" in refused.content.decode()
    for _each in range(6):
        assert tried("ines@quillmere.example", PASSWORD).status_code == 302
        client.logout()


@pytest.mark.django_db
def test_an_address_is_the_one_that_our_own_proxy_saw(client, settings):
    settings.REQUEST_LIMITS, settings.PROXIES = {"login_address": (1, 900)}, 1

    def tried(seen, login="nobody@quillmere.example"):
        headers = {"X-Forwarded-For": seen}
        return client.post(LOGIN, {"login": login, "password": "x"}, headers=headers).status_code

    assert tried("198.51.100.1, 192.0.2.7") == 200
    assert tried("198.51.100.2, 192.0.2.7") == 429
    assert tried("192.0.2.8") == 200
    assert tried("2001:db8:0:1::5") == 200
    assert tried("2001:db8:0:1::6") == 429


@pytest.mark.django_db
def test_reset_links_and_tokens_have_limits_too(client, settings, ours):
    settings.REQUEST_LIMITS = {"link": (1, 600), "token": (2, 60)}
    reset = "/account/password/reset/"
    assert client.post(reset, {"email": "mara@quillmere.example"}).status_code == 302
    assert client.post(reset, {"email": "Mara@quillmere.example"}).status_code == 429

    guess = {"Authorization": "Token 0123456789abcdef"}
    assert client.get("/api/v1/buildings/", headers=guess).status_code == 401
    token = scene.token_client(ours.technician)
    assert token.get("/api/v1/buildings/").status_code == 200
    refused = token.get("/api/v1/buildings/")
    assert refused.status_code == 429
    assert 1 <= int(refused["Retry-After"]) <= 30
    assert refused.json()["code"] == "asked_too_often"


@pytest.mark.django_db
def test_a_tablet_that_sends_without_end_is_told_when_to_go_on(ours, tablet, visit, settings):
    settings.REQUEST_LIMITS = {"push": (1, 10), "photo": (1, 60)}
    entry = tablets.opened(tablet, visit.pk)
    assert tablet.statuses(entry) == ["applied"]
    body = json.dumps(tablet.batch([entry]))
    refused = tablet.client.post(tablets.PUSH, body, content_type="application/json")
    assert refused.status_code == 429
    assert 1 <= int(refused["Retry-After"]) <= 10
    assert refused.json()["code"] == "asked_too_often"
    begun = [tablets.begin(tablet.client, str(new_id()), b"a photo") for _each in range(2)]
    assert [one.status_code for one in begun] == [201, 429]


@pytest.fixture
def visit(ours):
    return tablets.planned(ours)


@pytest.fixture
def tablet(ours, api):
    return tablets.Tablet(api(ours.technician), ours.technician)
