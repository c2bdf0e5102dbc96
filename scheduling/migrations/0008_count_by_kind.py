"""Count what is derived already once more, by kind, so that narrowed lists are full at once."""

from typing import Any

from django.db import migrations

from inspections.catalogue_files import versions

COLUMNS = "id, contractor_id, building_id, by_owner, kind, monday, latest_on, count, minutes"
ID = {"postgresql": "gen_random_uuid()", "sqlite": "lower(hex(randomblob(16)))"}
MONDAY = {
    "postgresql": "date_trunc('week', due_on)::date",
    "sqlite": "date(due_on, '-6 days', 'weekday 1')",
}
KINDS = ("test", "maintenance")


def count(apps: Any, schema_editor: Any) -> None:
    vendor = schema_editor.connection.vendor
    kinds = {
        activity.id: activity.kind
        for version in versions()
        for activity in version.catalogue.activities.values()
    }
    for own in apps.get_model("inspections", "Rule").objects.filter(act="own"):
        kinds[own.activity] = own.definition["kind"]
    whens, params = [], []
    for kind in KINDS:
        ids = [activity for activity, its in kinds.items() if its == kind]
        whens.append(f"WHEN activity IN ({', '.join(['%s'] * len(ids))}) THEN '{kind}'")
        params += ids
    kind = f"CASE {' '.join(whens)} ELSE 'inspection' END"
    keys = f"contractor_id, building_id, by_owner, {kind}, {MONDAY[vendor]}, latest_on"
    schema_editor.execute("DELETE FROM scheduling_weekload")
    schema_editor.execute(
        f"INSERT INTO scheduling_weekload ({COLUMNS})"
        f" SELECT {ID[vendor]}, {keys}, count(*), sum(adds)"
        f" FROM scheduling_occurrence GROUP BY 2, 3, 4, 5, 6, 7",
        params,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0010_order_of_the_record"),
        ("scheduling", "0007_week_loads_by_kind"),
    ]

    operations = [
        migrations.RunPython(count, migrations.RunPython.noop),
    ]
