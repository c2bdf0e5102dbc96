"""Two contractors of the same shape, `ours` and `theirs`, and clients signed in as their people.

A pytest plugin: the fixtures are there in every test. Rows are built by hand in each contractor's
scope, once a worker and for each set of contractors that tests ask for, in a database of their
own; what a test needs beyond them it builds itself.
"""

import pickle
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine
from django.test import Client
from rest_framework.test import APIClient

TODAY = date(2026, 11, 25)
TAKEN_OVER = date(2023, 11, 20)
SURVEYED = datetime(2026, 11, 25, 6, tzinfo=UTC)


@dataclass
class Scene:
    """One contractor with its people, an owner, and a small building with three systems."""

    contractor: Any
    manager: Any
    office: Any
    technician: Any
    trainer: Any
    people: dict[str, Any]
    depot: Any
    owner: Any
    access: Any
    jurisdiction: Any
    building: Any
    lead_in: Any
    wet: Any
    preaction: Any
    wet_riser: Any
    riser: Any
    devices: dict[str, Any] = field(default_factory=dict)

    def scope(self) -> Any:
        """Return the contractor's scope, to be entered with `with`."""
        from contractors.scope import contractor_scope

        return contractor_scope(self.contractor.pk)


WHO = {
    "ours": ("northbank", "Northbank Fire Protection", "Quay Holdings"),
    "theirs": ("hillside", "Hillside Sprinkler Works", "Terrace Estates"),
}
STANDING: tuple[tuple[str, ...], ...] = ((), ("ours",), ("theirs",), ("ours", "theirs"))
_made: dict[tuple[str, ...], bytes] = {}


def wanted_by(fixtures: Iterable[str]) -> tuple[str, ...]:
    """Return which contractors a test with these fixtures finds in its database."""
    return tuple(name for name in WHO if name in fixtures)


def stand(scenes: tuple[str, ...]) -> None:
    """Build these contractors in the database at hand, for all tests that want just them."""
    from django.db import connection, transaction

    # Before any moment that tests travel to, so that all of it was known by then.
    with time_machine.travel(SURVEYED, tick=False), transaction.atomic():
        made = {name: build(*WHO[name]) for name in scenes}
        # What waits for the end of the transaction would wait for ever in a test.
        connection.run_on_commit = []
    _made[scenes] = pickle.dumps(made)


def _standing(request: pytest.FixtureRequest) -> dict[str, Scene]:
    # Objects of its own for each test: it may change them.
    standing: dict[str, Scene] = pickle.loads(_made[wanted_by(request.fixturenames)])
    return standing


@pytest.fixture
def ours(db: None, request: pytest.FixtureRequest) -> Scene:
    """The contractor whose people are signed in."""
    return _standing(request)["ours"]


@pytest.fixture
def theirs(db: None, request: pytest.FixtureRequest) -> Scene:
    """Another contractor of the same shape, whose rows nobody else may see."""
    return _standing(request)["theirs"]


@pytest.fixture
def as_member(client_class: type[Client]) -> Callable[[Any], Client]:
    """Return a maker of browsers signed in as a membership or an owner's access."""

    def sign_in(door: Any) -> Client:
        client = client_class()
        client.force_login(door.user)
        session = client.session
        session["door"] = str(door.pk)
        session.save()
        return client

    return sign_in


@pytest.fixture
def client_class() -> type[Client]:
    """The class of browsers that tests use."""
    return Client


@pytest.fixture
def as_manager(ours: Scene, as_member: Callable[[Any], Client]) -> Client:
    """A browser signed in as our service manager."""
    return as_member(ours.manager)


@pytest.fixture
def as_office(ours: Scene, as_member: Callable[[Any], Client]) -> Client:
    """A browser signed in as our office."""
    return as_member(ours.office)


@pytest.fixture
def as_technician(ours: Scene, as_member: Callable[[Any], Client]) -> Client:
    """A browser signed in as our technician."""
    return as_member(ours.technician)


@pytest.fixture
def as_owner(ours: Scene, as_member: Callable[[Any], Client]) -> Client:
    """A browser signed in as the owner of our building."""
    return as_member(ours.access)


@pytest.fixture
def api(db: None) -> Callable[[Any], APIClient]:
    """Return a maker of API clients with a token of a membership or an owner's access."""
    return token_client


def token_client(door: Any) -> APIClient:
    """Return an API client that comes through this membership or owner's access."""
    from contractors.models import AccessToken, Membership

    names = "membership" if isinstance(door, Membership) else "owner_access"
    _row, token = AccessToken.objects.create(user=door.user, **{names: door})
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {token}")
    return client


def build(code: str, name: str, owner_name: str) -> Scene:
    """Make a contractor with everything a scene has."""
    from contractors.models import Contractor, Membership, Owner, OwnerAccess, User
    from contractors.scope import contractor_scope

    contractor = Contractor.objects.create(code=code, name=name)
    members = {}
    for role in Membership.Role:
        user = User.objects.create_user(f"{role}@{code}.example", "a password of tests", name=role)
        members[role.value] = Membership.objects.create(user=user, contractor=contractor, role=role)
    owner = Owner.objects.create(code=f"{code}-owner", name=owner_name)
    access = OwnerAccess.objects.create(
        user=User.objects.create_user(f"owner@{code}.example", "a password of tests", name="owner"),
        owner=owner,
        from_on=TAKEN_OVER,
    )
    with contractor_scope(contractor.pk):
        depot, people = _people(members)
        place = _place(owner)
        items = _items(place["building"])
    return Scene(
        contractor,
        **members,
        depot=depot,
        people=people,
        owner=owner,
        access=access,
        **place,
        **items,
    )


def _people(members: dict[str, Any]) -> tuple[Any, dict[str, Any]]:
    from contractors.models import Licence, Office, Person

    depot = Office.objects.create(
        name="Depot", address="1 Wharf Road", latitude=44.5, longitude=-70
    )
    week = {str(day): ["07:00", "16:00"] for day in range(5)}
    people = {}
    for role, member in members.items():
        out = role in ("technician", "manager")
        people[role] = Person.objects.create(
            membership=member,
            office=depot,
            code=role[:4].upper(),
            name=f"Sam {role.title()}",
            email=member.user.email,
            is_technician=role == "technician",
            week=week if role == "technician" else {},
        )
        for kind in Licence.Kind if out else ():
            Licence.objects.create(
                person=people[role],
                kind=kind,
                number=f"{kind[:3]}-100",
                jurisdiction="Sample County",
                valid_from=date(2020, 1, 1),
                valid_until=date(2029, 12, 31),
            )
    return depot, people


def _place(owner: Any) -> dict[str, Any]:
    from buildings import inventory
    from buildings.models import Adoption, Agreement, Building, Engagement, Jurisdiction

    then = datetime(2023, 11, 20, 12, tzinfo=UTC)
    jurisdiction = Jurisdiction.objects.create(
        name="Sample County", region="ME", notice_phone="555 0100", emergency_phone="911"
    )
    Adoption.objects.create(
        jurisdiction=jurisdiction, edition=2020, valid_from=date(2021, 1, 1), recorded_at=then
    )
    building = Building(
        code="B-001",
        name="Old Mill Offices",
        address="12 Mill Lane",
        city="Sampleton",
        region="ME",
        postal_code="04000",
        area="Riverside",
        latitude=44.51,
        longitude=-70.02,
        jurisdiction=jurisdiction,
        hours={str(day): ["07:00-17:00"] for day in range(5)},
        access_notes="Key at the desk; riser room behind the loading dock.",
        contact_name="Kim Porter",
        contact_phone="555 0111",
        contact_email="desk@mill.example",
        station_phone="555 0122",
        station_account="4471",
        taken_over_on=TAKEN_OVER,
        attributes={
            "country": "US",
            "state": "ME",
            "base_standard": "nfpa25",
            "frost": True,
            "wet_systems": 1,
            "sprinklered": True,
        },
    )
    inventory.add([building], by=None, reason="taken over", tell=False)
    Engagement.objects.create(building=building, owner=owner, from_on=TAKEN_OVER)
    Agreement.objects.create(
        building=building,
        valid_from=TAKEN_OVER,
        owner_does=["P1D", "P7D", "P1M"],
        anchor_month=4,
        recorded_at=then,
    )
    return {"jurisdiction": jurisdiction, "building": building}


def _items(building: Any) -> dict[str, Any]:
    from buildings import inventory
    from buildings.models import Riser, System

    def system(code: str, name: str, of_kind: str, position: int, **attributes: Any) -> Any:
        return System(
            building=building,
            code=code,
            name=name,
            kind=of_kind,
            position=position,
            attributes=attributes,
            in_service_from=date(2014, 6, 1),
        )

    def riser(code: str, of: Any, valve_kind: str) -> Any:
        return Riser(
            building=building,
            system=of,
            code=code,
            name=f"Riser {code}",
            location="Riser room",
            attributes={"valve_kind": valve_kind, "main_drain": True, "gauge_pair": True},
        )

    lead_in = system(
        "L1", "Lead-in", "lead_in", 1, main_drain=False, sole_supply_through_device=True
    )
    wet = system(
        "S1",
        "Offices, wet",
        "wet",
        2,
        kind="wet",
        interlock="none",
        release="none",
        hydraulically_designed=True,
    )
    preaction = system(
        "S2",
        "Archive, preaction",
        "preaction",
        3,
        kind="preaction",
        interlock="single",
        release="electric",
        detection="smoke",
        air_supervised=True,
        gas="air",
    )
    wet_riser, preaction_riser = (
        riser("R1", wet, "alarm_check"),
        riser("R2", preaction, "preaction"),
    )
    devices = _devices(building, lead_in, wet_riser, preaction_riser)
    rows = [lead_in, wet, preaction, wet_riser, preaction_riser, *devices.values()]
    inventory.add(rows, by=None, reason="surveyed", tell=False)
    return {
        "lead_in": lead_in,
        "wet": wet,
        "preaction": preaction,
        "wet_riser": wet_riser,
        "riser": preaction_riser,
        "devices": devices,
    }


# Short name, kind, attributes; in the order that water flows.
AT_THE_WET_RISER = (
    ("wet_valve", "control_valve", {"type": "butterfly", "normally": "open", "supervised": True}),
    ("alarm_check", "alarm_check_valve", {"retard_chamber": False}),
    ("wet_flow", "waterflow_switch", {"type": "vane"}),
    ("wet_gauge", "gauge", {"measures": "system_water", "dated": "2024-03-01"}),
    ("wet_test", "test_connection", {"orifice_known": True}),
    ("wet_sprinklers", "sprinkler_group", {"quantity": 240, "manufacture_year": 2014}),
)
AT_THE_PREACTION_RISER = (
    ("valve", "control_valve", {"type": "osy_gate", "normally": "open", "secured_by": "lock"}),
    (
        "preaction_valve",
        "preaction_deluge_valve",
        {"body": "priming_chamber", "cover_off_to_reset": False, "manual_release": True},
    ),
    ("panel", "releasing_panel", {"secondary_battery": True}),
    ("compressor", "air_compressor", {"dedicated": True}),
    ("air_device", "air_maintenance_device", {"automatic": True}),
    ("low_air", "supervisory_device", {"measures": "low_air"}),
    ("flow", "waterflow_switch", {"type": "pressure_switch"}),
    ("air_gauge", "gauge", {"measures": "air", "dated": "2024-03-01"}),
    ("test", "test_connection", {"orifice_known": True}),
    ("low_point", "low_point_drain", {"drum": True}),
)


def _devices(building: Any, lead_in: Any, wet_riser: Any, riser: Any) -> dict[str, Any]:
    from buildings.models import Device

    made: dict[str, Any] = {}

    def add(short: str, kind: str, attributes: Any, **place: Any) -> Any:
        made[short] = Device(
            building=building,
            code=f"D-{len(made) + 1:03}",
            name=kind.replace("_", " ").capitalize(),
            kind=kind,
            position=len(made) + 1,
            attributes=attributes,
            **place,
        )
        return made[short]

    backflow = add(
        "backflow", "backflow_assembly", {"type": "RPDA", "fire_line": True}, system=lead_in
    )
    add(
        "backflow_valve",
        "control_valve",
        {"type": "osy_gate", "normally": "open"},
        system=lead_in,
        parent=backflow,
    )
    for short, kind, attributes in AT_THE_WET_RISER:
        add(short, kind, attributes, system=wet_riser.system, riser=wet_riser)
    for short, kind, attributes in AT_THE_PREACTION_RISER:
        add(short, kind, attributes, system=riser.system, riser=riser)
    add(
        "switch",
        "supervisory_switch",
        {"type": "stem"},
        system=riser.system,
        riser=riser,
        parent=made["valve"],
    )
    return made
