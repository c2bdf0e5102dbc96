"""`manage.py load_demo` loads the demo scenario into an empty service, and prints its log-ins."""

import re
import secrets
import time
from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from buildings import portfolio, sketches
from buildings.models import Building, Device, Sketch
from config import demo_visits
from contractors.models import (
    Contractor,
    Membership,
    OutboxMessage,
    Owner,
    OwnerAccess,
    Person,
    User,
)
from contractors.scope import contractor_scope
from fixtures.demo import samples, town
from fixtures.demo import sketches as drawn
from fixtures.demo import supplies as told_supplies
from inspections import (
    flow_readings,
    past_visits,
    practising,
    sample_size,
    sampling,
    supplies,
)
from inspections.management.commands.import_portfolio import files_at, sentence
from scheduling import due
from scheduling.models import Occurrence

Role = Membership.Role
HERE = Path(settings.BASE_DIR) / "fixtures" / "demo"
# The files' dates are relative to this day; they are moved by whole weeks to the day of loading.
REFERENCE = date(2026, 11, 25)
CONTRACTORS = (
    ("quillmere", "Quillmere Fire Protection", HERE / "quillmere"),
    ("tarrow", "Tarrow Sprinkler Works", HERE / "tarrow.xlsx"),
)
# Contractor, code of the person, role. Everybody else who goes out is a technician.
ROLES = {
    ("quillmere", "MQ"): Role.MANAGER,
    ("quillmere", "TO"): Role.OFFICE,
    ("quillmere", "VR"): Role.TRAINER,
    ("tarrow", "BT"): Role.MANAGER,
}
OWNERS = (("merrow", "Merle Rowan", "quillmere"), ("brakken", "Ken Brask", "tarrow"))
# Whose sprinklers were sampled.
SAMPLED = "quillmere"
# Whose log-ins are printed.
SHOWN = ("MQ", "TO", "IB", "JS", "VR", "BT")
# What a trainer has set at the practice bench: type, task, hidden fault.
EXERCISES = (
    ("preaction_single_electric", "find_fault", "solenoid_stuck_closed"),
    ("preaction_double_electric_pneumatic", "trip_test", ""),
    ("dry_qod", "restoration", ""),
)


class Command(BaseCommand):
    """Loads two contractors through the import that users use; does nothing where one exists."""

    help = __doc__

    def handle(self, *args: Any, **options: Any) -> None:
        """Load, derive, make people and today's visits."""
        if Contractor.objects.exists():
            self.stdout.write("There is a contractor already; the demo is left alone.")
            return
        self.started = time.monotonic()
        # The demo's day is its town's, not the server's.
        with timezone.override(ZoneInfo(town.ZONE)):
            self._load()

    def _load(self) -> None:
        log_ins: list[tuple[str, str, str]] = []
        for code, name, place in CONTRACTORS:
            contractor = Contractor.objects.create(code=code, name=name)
            self._say(f"{name}: reading {place.name}")
            self._import(contractor, place)
            log_ins += _people(contractor)
            with contractor_scope(contractor.pk):
                due.derive_all(told=self._told(f"{name}: what falls due, building"))
                demo_visits.plan_today()
                demo_visits.report_before()
                _samples(contractor)
                _supplies(contractor)
                _exercises()
                _sketches(contractor)
        log_ins += _owners()
        self._say("The demo is loaded. These log-ins are shown only once:")
        for email, password, what in log_ins:
            self.stdout.write(f"  {email:<36} {password}   {what}")

    def _import(self, contractor: Contractor, place: Path) -> None:
        tables = moved(portfolio.read(files_at(place)), timezone.localdate())
        with contractor_scope(contractor.pk):
            plan = portfolio.check(tables)
            if plan.problems:
                raise CommandError(sentence(plan.problems[0]))
            portfolio.apply(plan, by=None, reason="take-over of the portfolio", valid_from=None)
        for message in OutboxMessage.objects.filter(
            contractor=contractor, kind="portfolio.history", state=OutboxMessage.State.WAITING
        ):
            if not past_visits.run_now(message, self._told(f"{contractor}: past visit")):
                raise CommandError("the history could not be recorded; see the log")

    def _told(self, what: str) -> past_visits.Told:
        def told(done: int, of: int) -> None:
            if done == of or done % max(10, of // 8 // 10 * 10) == 0:
                self._say(f"{what} {done} of {of}")

        return told

    def _say(self, line: str) -> None:
        self.stdout.write(f"[{time.monotonic() - self.started:4.0f} s] {line}")
        self.stdout.flush()


def moved(tables: Mapping[str, portfolio.Table], today: date) -> dict[str, portfolio.Table]:
    """Return sheets with every date moved by the weeks from the reference day to today."""
    step = timedelta(days=(today - REFERENCE).days // 7 * 7)

    def later(text: str) -> str:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            return text
        return (date.fromisoformat(text) + step).isoformat()

    return {
        name: portfolio.Table(
            name,
            table.headings,
            tuple(
                portfolio.Row(row.number, {h: later(text) for h, text in row.cells.items()})
                for row in table.rows
            ),
        )
        for name, table in tables.items()
    }


def _people(contractor: Contractor) -> list[tuple[str, str, str]]:
    """Give every person a log-in; return those that are shown."""
    shown = []
    with contractor_scope(contractor.pk):
        for person in Person.objects.order_by("code"):
            role = ROLES.get((contractor.code, person.code), Role.TECHNICIAN)
            email = f"{person.name.lower().replace(' ', '.')}@{contractor.code}.example"
            password = secrets.token_urlsafe(9)
            user = User.objects.create_user(email, password, name=person.name)
            member = Membership.objects.create(user=user, contractor=contractor, role=role)
            person.membership, person.email = member, email
            person.save(update_fields=["membership", "email"])
            if person.code in SHOWN:
                shown.append((email, password, f"{member.get_role_display()}, {contractor}"))
    return shown


def _owners() -> list[tuple[str, str, str]]:
    shown = []
    for code, name, _contractor in OWNERS:
        owner = Owner.objects.get(code=code)
        email, password = (
            f"{name.lower().replace(' ', '.')}@{code}.example",
            secrets.token_urlsafe(9),
        )
        user = User.objects.create_user(email, password, name=name)
        OwnerAccess.objects.create(
            user=user, owner=owner, from_on=timezone.localdate() - timedelta(days=1200)
        )
        shown.append((email, password, f"owner, {owner}"))
    return shown


def _samples(contractor: Contractor) -> None:
    """Send samples of sprinklers to a laboratory, and write down what it said of them."""
    member = Membership.objects.filter(role=Role.MANAGER).first()
    buildings = Building.objects.filter(code__in=[one.building for one in samples.STORIES])
    by_code = {one.code: one for one in buildings}
    for story in samples.STORIES:
        if contractor.code == SAMPLED and story.building in by_code and member is not None:
            _sample(by_code[story.building], story, member)


def _supplies(contractor: Contractor) -> None:
    """Enter supply points with their systems, placards and flow tests."""
    member = Membership.objects.filter(role=Role.MANAGER).first()
    if contractor.code != SAMPLED or member is None:
        return
    for story in told_supplies.STORIES:
        building = Building.objects.filter(code=story.building).first()
        system = building and building.systems.order_by("position", "code").first()
        if building is None or system is None:
            continue
        today = timezone.localdate(timezone=building.zone)
        point = supplies.add_point(story.code, story.name, story.main, by=member)
        begun = today - timedelta(days=story.tests[0].ago)
        placard = {"base_flow": story.base_flow, "base_pressure": story.base_pressure}
        supplies.write_placard(system, placard, from_on=begun, by=member)
        supplies.connect(point, system, from_on=begun, hose=story.hose, by=member)
        for test in story.tests:
            on = today - timedelta(days=test.ago)
            read = flow_readings.Read(on, test.static, test.residual, test.flow)
            supplies.record_test(point, read, by=member)


def _sketches(contractor: Contractor) -> None:
    """Draw where things are in a few buildings."""
    member = contractor.memberships.filter(role=Role.MANAGER).first()
    if contractor.code != SAMPLED:
        return
    for building in Building.objects.filter(code__in=drawn.BUILDINGS):
        risers = list(building.risers.order_by("position", "code"))
        floor = drawn.ground_floor(building.name, [one.code for one in risers])
        told: dict[str, Any] = {"name": "sketch.png", "kind": Sketch.Kind.SKETCH, "by": member}
        caption = "Ground floor: the way in, the valve room and its risers"
        sketches.add(building, floor, caption=caption, **told)
        for riser in risers[:1]:
            room = drawn.valve_room(f"{riser.code} {riser.name}")
            caption = f"{riser.name}: valve, drain, gauge and panel, seen from the door"
            sketches.add(building, room, caption=caption, riser=riser, **told)


def _exercises() -> None:
    """Set exercises at the practice bench, where there is a trainer."""
    trainer = Membership.objects.filter(role=Role.TRAINER).first()
    for system_type, task, fault in EXERCISES if trainer else ():
        practising.set_exercise(system_type=system_type, task=task, fault=fault, by=trainer)


def _sample(building: Building, story: samples.Story, member: Membership) -> None:
    day = timezone.localdate(timezone=building.zone)
    known = sampling.activities()
    owed = Occurrence.objects.filter(building=building, activity__in=known, subject_kind="device")
    first = owed.order_by("due_on", "activity", "subject_id").first()
    taker = Person.objects.filter(is_technician=True).order_by("code").first()
    if first is None or taker is None:
        return
    group = Device.objects.get(pk=first.subject_id)
    taken_on = day - timedelta(days=story.taken)
    in_area = group.attributes["quantity"]
    least = sample_size.size_for(building, known[first.activity], in_area, taken_on) or 1
    tags = [f"{building.code}-{number}" for number in range(1, least + 1)]
    sent = sampling.send(
        building,
        sampling.Sending(
            activity=first.activity,
            groups=[group],
            pieces=[sampling.Piece(tag, group.pk, group.location) for tag in tags],
            taken_on=taken_on,
            taken_by=taker.name,
            sent_on=taken_on + timedelta(days=1),
            laboratory=samples.LABORATORY,
            reference=f"{building.code}-{group.code}",
        ),
        by=member,
    )
    if story.reported is not None:
        words = ["slow"] * story.slow + ["pass"] * len(tags)
        said = [sampling.Tested(tag, word) for tag, word in zip(tags, words, strict=False)]
        on = day - timedelta(days=story.reported)
        sampling.report(sent, reported_on=on, pieces=said, number=f"C-{building.code}", by=member)
    due.derive(building)
