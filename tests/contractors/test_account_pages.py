"""Signing in, out and back in after a forgotten password, in the product's own look."""

import re

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.core import mail
from django.test import Client

from contractors.models import User

pytestmark = pytest.mark.django_db

PASSWORD = "nine sprinklers in a row"


@pytest.fixture
def mara() -> User:
    return User.objects.create_user("mara@quillmere.example", PASSWORD, name="Mara Quist")


def text(response) -> str:
    return response.content.decode()


def test_the_sign_in_page_offers_password_and_passkey_but_no_sign_up(client: Client):
    html = text(client.get("/account/login/"))

    assert "<h1>Sign in</h1>" in html
    assert "Use a passkey instead" in html
    assert "Forgot your password?" in html
    assert 'autocomplete="current-password"' in html
    assert "/signup/" not in html


def test_a_wrong_password_is_told_without_repeating_it(client: Client, mara: User):
    response = client.post("/account/login/", {"login": mara.email, "password": "a wrong guess"})
    html = text(response)

    assert 'role="alert"' in html
    assert "a wrong guess" not in html
    assert mara.email in html


def test_the_right_password_leads_in(client: Client, mara: User):
    response = client.post("/account/login/", {"login": mara.email, "password": PASSWORD})

    assert response.status_code == 302
    assert client.session["_auth_user_id"] == str(mara.pk)


def test_nobody_signs_up_without_an_invitation(client: Client):
    assert "Accounts are by invitation" in text(client.get("/account/signup/"))


def test_a_forgotten_password_is_replaced_by_the_mailed_link(client: Client, mara: User):
    client.post("/account/password/reset/", {"email": mara.email})
    link = re.search(r"https?://[^/]+(/account/password/reset/key/\S+)", mail.outbox[0].body)
    assert link is not None
    page = client.get(link[1], follow=True)
    assert "Choose a new password" in text(page)

    chosen = {"password1": "eleven gauges all read", "password2": "eleven gauges all read"}
    done = client.post(page.request["PATH_INFO"], chosen, follow=True)

    assert "The password is changed" in text(done)
    mara.refresh_from_db()
    assert mara.check_password("eleven gauges all read")


def test_a_used_link_says_that_it_no_longer_works(client: Client):
    page = client.get("/account/password/reset/key/1-set-password/", follow=True)

    assert "This link no longer works" in text(page)


def test_an_unknown_address_gets_the_same_answer_as_a_known_one(client: Client, mara: User):
    known = client.post("/account/password/reset/", {"email": mara.email}, follow=True)
    unknown = client.post("/account/password/reset/", {"email": "x@y.example"}, follow=True)

    assert "Look into your mail" in text(known)
    assert "Look into your mail" in text(unknown)


def test_signing_out_asks_first(client: Client, mara: User):
    client.force_login(mara)

    assert "Sign out?" in text(client.get("/account/logout/"))
    assert "_auth_user_id" in client.session
    client.post("/account/logout/")
    assert "_auth_user_id" not in client.session


def test_a_second_step_is_asked_of_those_who_have_one(client: Client, mara: User):
    TOTP.activate(mara, generate_totp_secret())
    page = client.post("/account/login/", {"login": mara.email, "password": PASSWORD}, follow=True)

    assert "<h1>Second step</h1>" in text(page)
    assert Authenticator.objects.filter(user=mara).exists()
    assert "_auth_user_id" not in client.session


def test_the_password_is_asked_again_before_the_second_step_is_set_up(client: Client, mara: User):
    client.post("/account/login/", {"login": mara.email, "password": PASSWORD})
    asked = client.get("/account/2fa/totp/activate/", follow=True)
    assert "Is it still you?" in text(asked)

    page = client.post(asked.redirect_chain[-1][0], {"password": PASSWORD}, follow=True)

    assert 'class="framed"' in text(page)
    assert 'aria-label="Your account"' in text(page)


@pytest.mark.parametrize(
    "path",
    [
        "/account/password/change/",
        "/account/2fa/",
        "/account/sessions/",
        "/account/email/",
    ],
)
def test_ones_own_account_has_its_pages_in_the_bar_of_the_product(client: Client, mara, path):
    client.post("/account/login/", {"login": mara.email, "password": PASSWORD})
    html = text(client.get(path, follow=True))

    assert 'aria-label="Your account"' in html
    assert "Mara Quist" in html
    assert "Maindrain</title>" in html
    assert not re.search(r"\sstyle=", html)
