"""`manage.py issue_token EMAIL` prints an API token as its last line."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from contractors.doors import Door, doors_of
from contractors.models import AccessToken, Contractor, User

DEMO = ("manager", "technician", "owner")


class Command(BaseCommand):
    """Makes a token that stands for one membership or one owner's access."""

    help = "Print an API token for a user, or for one of the demo's people, as the last line."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take an e-mail address, or --demo with a role."""
        parser.add_argument("email", nargs="?", help="the user's e-mail address")
        parser.add_argument("--demo", choices=DEMO, help="one of the demo's people")
        parser.add_argument("--contractor", help="short code, where the user has several places")
        parser.add_argument("--owner", help="short code, where the user has several places")
        parser.add_argument("--label", default="", help="what the token is for")

    def handle(self, *args: Any, **options: Any) -> None:
        """Find the one door and make its token."""
        door = _demo(options["demo"]) if options["demo"] else _named(options)
        names = {"membership": door.member} if door.member else {"owner_access": door.access}
        _row, token = AccessToken.objects.create(
            user=door.user, label=options["label"] or "issue_token", **names
        )
        whom = door.contractor.name if door.member else door.owner.name
        self.stderr.write(f"A token of {door.user.email} for {whom}, {door.role}:")
        self.stdout.write(token)


def _demo(role: str) -> Door:
    """Return the demo's first person of a role: the oldest contractor's, or its owner's."""
    contractor = Contractor.objects.order_by("pk").first()
    users = User.objects.order_by("pk")
    for user in users if contractor else ():
        for door in doors_of(user):
            if role == "owner" and door.access:
                return door
            if door.member and door.contractor == contractor and door.role == role:
                return door
    raise CommandError("There is no demo here. Run `manage.py load_demo` first.")


def _named(options: dict[str, Any]) -> Door:
    email = options["email"]
    if not email:
        raise CommandError("Give an e-mail address, or --demo manager, technician or owner.")
    user = User.objects.filter(email=email.lower()).first()
    if user is None:
        raise CommandError(f"{email} is not a user here.")
    wanted = [door for door in doors_of(user) if _is_wanted(door, options)]
    if len(wanted) != 1:
        found = ", ".join(_code(door) for door in doors_of(user)) or "none"
        raise CommandError(
            f"{email} has these places: {found}. Name one by --contractor or --owner."
        )
    return wanted[0]


def _code(door: Door) -> str:
    return f"--contractor {door.contractor.code}" if door.member else f"--owner {door.owner.code}"


def _is_wanted(door: Door, options: dict[str, Any]) -> bool:
    if options["contractor"]:
        return bool(door.member) and door.contractor.code == options["contractor"]
    if options["owner"]:
        return bool(door.access) and door.owner.code == options["owner"]
    return True
