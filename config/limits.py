"""Which requests are counted, and against whose allowance; how far, says `REQUEST_LIMITS`."""

from collections.abc import Iterator
from ipaddress import ip_address, ip_network
from typing import Any

from django.conf import settings
from django.contrib.auth.signals import user_logged_in
from django.http import HttpRequest

from contractors import limits

# What a guess at a secret is sent to, by whose secret it is.
_OWN_SECRET = ("account_reauthenticate", "mfa_reauthenticate", "account_change_password")
_SECOND_FACTOR = ("mfa_authenticate", "account_confirm_login_code")
_BY_ADDRESS = ("mfa_login_webauthn", "account_reset_password_from_key")
_BUNDLES = ("tablet_bundle", "api-held-bundle")


def network_of(request: HttpRequest) -> str:
    """Return where a request comes from: the address, of IPv6 the network that one line has.

    What a request says of itself counts only as far as our own proxies wrote it.
    """
    address = request.META.get("REMOTE_ADDR", "")
    if settings.PROXIES:
        passed = [one.strip() for one in request.headers.get("X-Forwarded-For", "").split(",")]
        address = passed[-settings.PROXIES] if len(passed) >= settings.PROXIES else address
    try:
        known = ip_address(address)
    except ValueError:
        return "unknown"
    return str(known) if known.version == 4 else str(ip_network((known, 64), strict=False))


def allowances(request: HttpRequest) -> Iterator[tuple[str, str]]:
    """Yield what a request spends: the name of a limit and whose."""
    if request.headers.get("Authorization") and request.path.startswith("/api/"):
        yield "token", network_of(request)
    if request.method != "POST" or request.resolver_match is None:
        return
    where = request.resolver_match.url_name
    if where == "account_login":
        yield "login_address", network_of(request)
        yield "login", _typed(request, "login")
    elif where in _OWN_SECRET:
        yield "login", _account(request)
    elif where in _SECOND_FACTOR:
        yield "login_address", network_of(request)
        yield "code", _signing_in(request)
    elif where in _BY_ADDRESS:
        yield "login_address", network_of(request)
    elif where == "account_reset_password":
        yield "login_address", network_of(request)
        yield "link", _typed(request, "email")
    elif where in _BUNDLES:
        yield "bundle", _account(request)


def spend(request: HttpRequest) -> None:
    """Count a request; `AskedTooOften` when one of its allowances is used up."""
    for name, who in allowances(request):
        limits.spend(name, who)


def forgive(sender: Any, request: HttpRequest | None, **_more: Any) -> None:
    """Let a log-in that was right not count."""
    if request is not None and request.resolver_match is not None:
        for name, who in allowances(request):
            limits.give_back(name, who)


def _typed(request: HttpRequest, field: str) -> str:
    return request.POST.get(field, "").strip().casefold()


def _account(request: HttpRequest) -> str:
    user: Any = request.user
    return str(user.email).casefold() if user.is_authenticated else network_of(request)


def _signing_in(request: HttpRequest) -> str:
    begun = request.session.get("account_login") or {}
    return str(begun.get("user_pk") or network_of(request))


user_logged_in.connect(forgive, dispatch_uid="config.limits.forgive")
