"""Count what is derived already, so that lists are full until it is derived again.

Until then each occurrence adds its own minutes, set-up left out.
"""

from typing import Any

from django.db import migrations

COLUMNS = "id, contractor_id, building_id, by_owner, monday, latest_on, count, minutes"
ID = {"postgresql": "gen_random_uuid()", "sqlite": "lower(hex(randomblob(16)))"}
MONDAY = {
    "postgresql": "date_trunc('week', due_on)::date",
    "sqlite": "date(due_on, '-6 days', 'weekday 1')",
}
ADDS = "UPDATE scheduling_occurrence SET adds = minutes"


def count(apps: Any, schema_editor: Any) -> None:
    vendor = schema_editor.connection.vendor
    keys = f"contractor_id, building_id, by_owner, {MONDAY[vendor]}, latest_on"
    schema_editor.execute(ADDS)
    schema_editor.execute(
        f"INSERT INTO scheduling_weekload ({COLUMNS})"
        f" SELECT {ID[vendor]}, {keys}, count(*), sum(adds)"
        f" FROM scheduling_occurrence GROUP BY {keys}"
    )


class Migration(migrations.Migration):
    dependencies = [
        ("scheduling", "0004_week_loads"),
    ]

    operations = [
        migrations.RunPython(count, migrations.RunPython.noop),
    ]
