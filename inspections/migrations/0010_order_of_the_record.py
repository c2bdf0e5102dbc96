"""Number the events in the order of the record, so that no clock decides it."""

from typing import Any

from django.db import migrations, models

from contractors.keys import Sealed

# Those that are there keep the order in which they came; within a stream its positions decide,
# also where the clock was set back between two of them.
NUMBER = """
UPDATE inspections_event SET number = placed.number
FROM (
    SELECT contractor_id, id, ROW_NUMBER() OVER (ORDER BY latest, position, id) AS number
    FROM (
        SELECT contractor_id, id, position, MAX(received_at) OVER (
            PARTITION BY contractor_id, stream, stream_id ORDER BY position
        ) AS latest
        FROM inspections_event
    ) AS come
) AS placed
WHERE inspections_event.contractor_id = placed.contractor_id
  AND inspections_event.id = placed.id
"""
SEQUENCE = "CREATE SEQUENCE inspections_event_numbers OWNED BY inspections_event.number"
GO_ON = """
SELECT setval('inspections_event_numbers', (SELECT MAX(number) + 1 FROM inspections_event), false)
WHERE EXISTS (SELECT FROM inspections_event)
"""


def number(apps: Any, schema_editor: Any) -> None:
    """Number what is there; the seal is taken off for as long."""
    event, vendor = apps.get_model("inspections", "Event"), schema_editor.connection.vendor
    seal = next(one for one in event._meta.constraints if isinstance(one, Sealed))
    numbered = [SEQUENCE, GO_ON] if vendor == "postgresql" else []
    off, on = seal.undo(event, vendor), seal.statements(event, vendor)
    for statement in [*off, NUMBER, *on, *numbered]:
        schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0009_practice"),
    ]

    operations = [
        migrations.AddField(
            model_name="event",
            name="number",
            field=models.BigIntegerField(default=0),
            preserve_default=False,
        ),
        migrations.RunPython(number, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="event",
            constraint=models.UniqueConstraint(
                fields=("contractor", "number"), name="inspections_event_number"
            ),
        ),
    ]
