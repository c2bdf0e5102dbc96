"""What every page and API view builds on: who came in, whose rows they see, what they may do."""

import functools
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.cache import never_cache
from rest_framework.pagination import PageNumberPagination
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from contractors import keeping
from contractors.models import AccessToken, Contractor, Membership, Owner, OwnerAccess, User
from contractors.scope import contractor_scope, owner_scope

if TYPE_CHECKING:
    from rest_framework.views import APIView

Role = Membership.Role
EVERYBODY = tuple(Role)
OFFICE = (Role.MANAGER, Role.OFFICE)
FIELD = (Role.MANAGER, Role.TECHNICIAN)


@dataclass(frozen=True, slots=True)
class Door:
    """The way somebody came in: as a contractor's member or with an owner's access."""

    user: User
    member: Membership | None = None
    access: OwnerAccess | None = None

    @property
    def contractor(self) -> Contractor:
        """Return the contractor of a member."""
        assert self.member is not None
        return self.member.contractor

    @property
    def owner(self) -> Owner:
        """Return the owner of an owner's user."""
        assert self.access is not None
        return self.access.owner

    @property
    def role(self) -> str:
        """Return the role behind the door."""
        return self.member.role if self.member else self.access.role  # type: ignore[union-attr]

    def scope(self) -> AbstractContextManager[None]:
        """Return the scope in which this person's rows are seen."""
        if self.member:
            return contractor_scope(self.member.contractor_id)
        return owner_scope(self.owner.id)

    def clock(self) -> AbstractContextManager[None]:
        """Return the context in which it is the day at the contractor's or the owner's."""
        return timezone.override(self.contractor.zone if self.member else self.owner.zone)


class ContractorRequest(HttpRequest):
    """A request that came through a contractor's door."""

    door: Door
    member: Membership


class OwnerRequest(HttpRequest):
    """A request that came through an owner's door."""

    door: Door


def memberships_of(user: User) -> list[Membership]:
    """Return the memberships a user may use today."""
    rows = user.memberships.select_related("contractor", "user")
    return [one for one in rows if not one.is_over]


def accesses_of(user: User) -> list[OwnerAccess]:
    """Return the owner accesses a user may use today."""
    return user.owner_accesses.all().open_today()


def doors_of(user: User) -> list[Door]:
    """Return every door that is open to a user today."""
    return [*_members_doors(user), *_owners_doors(user)]


def _members_doors(user: User) -> list[Door]:
    return [Door(user, member=one) for one in memberships_of(user)]


def _owners_doors(user: User) -> list[Door]:
    return [Door(user, access=one) for one in accesses_of(user)]


def door_of(request: Any) -> Door | None:
    """Return the door a request came through; None without a sign-in or before one is chosen.

    A token names its door. A session names one chosen at sign-in; with a single door there is
    nothing to choose.
    """
    if not hasattr(request, "_door_found"):
        request._door_found = _find_door(request)
    found: Door | None = request._door_found
    return found


def _find_door(request: Any) -> Door | None:
    if not request.user.is_authenticated:
        return None
    user, token = request.user, getattr(request, "auth", None)
    if isinstance(token, AccessToken):
        doors = _members_doors(user) if token.membership_id else _owners_doors(user)
        chosen = token.membership_id or token.owner_access_id
    else:
        doors = doors_of(user)
        if "door" not in request.session:
            return doors[0] if len(doors) == 1 else None
        chosen = UUID(request.session["door"])
    return next((d for d in doors if (d.member or d.access).pk == chosen), None)  # type: ignore[union-attr]


def choose_door(request: HttpRequest, door: Door) -> None:
    """Remember in the session which door the user takes."""
    request.session["door"] = str((door.member or door.access).pk)  # type: ignore[union-attr]


View = Callable[..., HttpResponse]


def _page(kind: str, roles: tuple[str, ...]) -> Callable[[View], View]:
    def decorate(view: View) -> View:
        @never_cache
        @functools.wraps(view)
        def entered(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            door = door_of(request)
            if door is None:
                return redirect("choose_door")
            if (door.member is None) == (kind == "contractor") or door.role not in roles:
                raise PermissionDenied
            request.door, request.member = door, door.member
            with door.scope(), door.clock():
                return view(request, *args, **kwargs)

        entered.door, entered.roles = kind, roles  # type: ignore[attr-defined]
        return entered

    return decorate


def go_on(request: HttpRequest, url: str) -> HttpResponse:
    """Send a browser on after a change, whether it sent the form itself or from within the page."""
    if request.htmx:  # type: ignore[attr-defined]
        answer = HttpResponse(status=204)
        answer["HX-Redirect"] = url
        return answer
    return redirect(url)


def contractor_page(*roles: str) -> Callable[[View], View]:
    """Let members with one of these roles in (everybody without roles), in their scope."""
    return _page("contractor", roles or EVERYBODY)


def owner_page(*roles: str) -> Callable[[View], View]:
    """Let an owner's users in, in the owner's scope."""
    return _page("owner", roles or tuple(OwnerAccess.Role))


class HasDoor(BasePermission):
    """Allows a view's roles; a view says who may read and who may write."""

    def has_permission(self, request: Request, view: "APIView") -> bool:
        """Say whether this person may call this view at all."""
        door = door_of(request)
        if door is None:
            return False
        request.door, request.member = door, door.member  # type: ignore[attr-defined]
        if door.member is None:
            return request.method in getattr(view, "owner_methods", ())
        return door.role in view.roles_for(request.method)  # type: ignore[attr-defined]


class DoorMixin:
    """An API view inside the scope and on the day of whoever calls it.

    `read_roles` and `write_roles` are the contractor's roles that may call it; `owner_methods` the
    methods open to owners (none by default). `key_required` demands an Idempotency-Key on POST; a
    key that is sent is honoured everywhere.
    """

    read_roles: ClassVar[tuple[str, ...]] = EVERYBODY
    write_roles: ClassVar[tuple[str, ...]] = OFFICE
    owner_methods: ClassVar[tuple[str, ...]] = ()
    key_required: ClassVar[bool] = False
    request: Any

    def roles_for(self, method: str | None) -> tuple[str, ...]:
        """Return the contractor's roles that may call this method."""
        reading = method in ("GET", "HEAD", "OPTIONS")
        return self.read_roles if reading else self.write_roles

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Enter the caller's scope once it is known who calls."""
        super().initial(request, *args, **kwargs)  # type: ignore[misc]
        if getattr(request, "door", None):
            door: Door = request.door  # type: ignore[attr-defined]
            self._entered.enter_context(door.scope())
            self._entered.enter_context(door.clock())
            keeping.begin(self, request)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Answer within the scope; it ends with the answer's data made."""
        with ExitStack() as self._entered:
            answer: HttpResponse = super().dispatch(request, *args, **kwargs)  # type: ignore[misc]
            kept: HttpResponse = keeping.finish(self, answer)
            return kept

    def handle_exception(self, exc: Exception) -> Any:
        """Give a kept answer as it was; everything else as a problem."""
        if isinstance(exc, keeping.Replay):
            return exc.response()
        return super().handle_exception(exc)  # type: ignore[misc]


class Pages(PageNumberPagination):
    """Pages of lists: `?page=2&page_size=100`, at most 500 a page."""

    page_size = 50
    max_page_size = 500
    page_size_query_param = "page_size"
