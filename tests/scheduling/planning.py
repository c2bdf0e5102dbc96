"""A few buildings more, a second technician, and visits that wait for a day."""

from datetime import UTC, date, datetime
from importlib import import_module

from django.apps import apps

from buildings import inventory
from buildings.models import Building, Engagement
from contractors import outbox
from contractors.models import Licence, OutboxMessage, Person
from inspections.models import Visit
from scheduling import plans

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
# Thursday and Friday, then Monday to Wednesday.
FIRST, LAST = date(2026, 11, 26), date(2026, 12, 2)
# East of the depot, about 2 to 12 km away.
SPREAD = ((44.52, -70.03), (44.55, -70.05), (44.47, -69.98), (44.50, -70.10))


def add_buildings(scene, count=4):
    made = []
    for number, (latitude, longitude) in enumerate(SPREAD[:count], start=2):
        building = Building(
            code=f"B-{number:03}",
            name=f"Mill Row {number}",
            address=f"{number} Mill Row",
            city="Sampleton",
            region="ME",
            area="Hill" if number % 2 else "Riverside",
            latitude=latitude,
            longitude=longitude,
            jurisdiction=scene.jurisdiction,
            hours={str(day): ["07:00-17:00"] for day in range(5)},
            contact_email=f"desk{number}@row.example",
            taken_over_on=date(2023, 11, 20),
            attributes={"country": "US", "base_standard": "nfpa25"},
        )
        inventory.add([building], by=None, reason="taken over", tell=False)
        Engagement.objects.create(building=building, owner=scene.owner, from_on=date(2023, 11, 20))
        made.append(building)
    return made


def count_anew():
    """Count what falls due from the occurrences as they stand, as the migration does."""
    import_module("scheduling.migrations.0014_count_workloads_of_visits").count(apps, None)


def add_technician(scene, code="SECO", name="Robin Second", kinds=("inspector",)):
    person = Person.objects.create(
        office=scene.depot,
        code=code,
        name=name,
        email=f"{code.lower()}@northbank.example",
        is_technician=True,
        week={str(day): ["07:00", "16:00"] for day in range(5)},
    )
    for kind in kinds:
        Licence.objects.create(
            person=person,
            kind=kind,
            valid_from=date(2020, 1, 1),
            valid_until=date(2029, 12, 31),
        )
    return person


def add_visit(building, minutes=120, **values):
    return Visit.objects.create(
        building=building, planned_minutes=minutes, title="Quarterly visit", **values
    )


def searched(scene, seconds=60, first=FIRST, last=LAST):
    """Make a plan and run its job as a worker would."""
    with scene.scope():
        plan = plans.make(first, last, seconds=seconds, by=scene.manager, today=TODAY)
    run_search(plan)
    with scene.scope():
        plan.refresh_from_db()
    return plan


def run_search(plan):
    job = OutboxMessage.objects.get(kind=plans.SEARCH, key=str(plan.pk))
    return outbox.run(job.pk)
