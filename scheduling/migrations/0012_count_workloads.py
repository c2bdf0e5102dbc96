"""Count what is derived already, so that lists are full until it is derived again."""

from itertools import groupby
from typing import Any

from django.db import migrations

from inspections.catalogue_files import versions
from scheduling import week_loads

COLUMNS = (
    *("contractor_id", "building_id", "by_owner", "activity", "system__kind", "qualification"),
    *("frequency", "due_on", "latest_on", "adds"),
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
    rows = apps.get_model("scheduling", "Occurrence").objects.order_by(*COLUMNS[:2])
    told = rows.values_list(*COLUMNS).iterator(chunk_size=2000)
    made = []
    for (contractor, building), of_it in groupby(told, lambda row: row[:2]):
        counts = (
            week_loads.counted(by_owner, kinds[activity], *work)
            for _contractor, _building, by_owner, activity, *work in of_it
        )
        packed = week_loads.packed(counts)
        made.append(workload(contractor_id=contractor, building_id=building, counts=packed))
    workload.objects.bulk_create(made, batch_size=500)


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0010_order_of_the_record"),
        ("scheduling", "0011_workloads"),
    ]

    operations = [
        migrations.RunPython(count, migrations.RunPython.noop),
    ]
