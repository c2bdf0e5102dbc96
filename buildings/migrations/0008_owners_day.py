"""Give owners the time zone of the contractor who was engaged first."""

from django.db import migrations

FILL = """
UPDATE contractors_owner SET time_zone = (
    SELECT c.time_zone FROM buildings_engagement e
    JOIN contractors_contractor c ON c.id = e.contractor_id
    WHERE e.owner_id = contractors_owner.id ORDER BY e.from_on, e.id LIMIT 1
) WHERE EXISTS (
    SELECT 1 FROM buildings_engagement e WHERE e.owner_id = contractors_owner.id
)
"""


class Migration(migrations.Migration):
    dependencies = [
        ("buildings", "0007_off_limits"),
        ("contractors", "0007_owners_day"),
    ]

    operations = [
        migrations.RunSQL(FILL, migrations.RunSQL.noop),
    ]
