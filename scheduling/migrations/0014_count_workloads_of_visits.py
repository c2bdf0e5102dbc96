"""Count what is derived already, so that lists are full until it is derived again.

How counts are packed is code of today. A migration that changes it counts anew, and takes this step
out here, since only the last one's counts are ever read.
"""

from collections import defaultdict
from itertools import groupby
from typing import Any

from django.db import migrations

from inspections.catalogue_files import versions
from scheduling import week_loads

COLUMNS = (
    *("contractor_id", "building_id", "building__area", "visit_id", "visit__state", "by_owner", "activity"),
    *("system__kind", "qualification", "frequency", "due_on", "latest_on", "adds"),
)


def count(apps: Any, _schema_editor: Any) -> None:
    kinds = {
        activity.id: activity.kind
        for version in versions()
        for activity in version.catalogue.activities.values()
    }
    for own in apps.get_model("inspections", "Rule").objects.filter(act="own"):
        kinds[own.activity] = own.definition["kind"]
    workload = apps.get_model("scheduling", "Workload")
    workload.objects.all().delete()
    rows = apps.get_model("scheduling", "Occurrence").objects.order_by(*COLUMNS[:3])
    told = rows.values_list(*COLUMNS).iterator(chunk_size=2000)
    made = []
    for (contractor, building, area), of_it in groupby(told, lambda row: row[:3]):
        found: dict[Any, list[Any]] = defaultdict(list)
        for _contractor, _building, _area, visit, state, by_owner, activity, *work in of_it:
            one = week_loads.counted(by_owner, kinds[activity], *work)
            found[None].append(one)
            if state in ("planned", "open"):
                found[visit].append(one)
        made += [
            workload(
                contractor_id=contractor,
                building_id=building,
                visit_id=visit,
                area=area,
                counts=week_loads.packed(counts),
            )
            for visit, counts in found.items()
        ]
    workload.objects.bulk_create(made, batch_size=500)


class Migration(migrations.Migration):
    dependencies = [
        ("scheduling", "0013_workloads_of_visits"),
    ]

    operations = [
        migrations.RunPython(count, migrations.RunPython.noop),
    ]
