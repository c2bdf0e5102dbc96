"""Have the follow-ups of before looked at by the ladder, each with its class."""

from django.db import migrations

GRADES = """
UPDATE scheduling_followup SET grade = COALESCE(
    (SELECT f.grade FROM inspections_finding f
     WHERE f.id = scheduling_followup.finding_id
       AND f.contractor_id = scheduling_followup.contractor_id),
    'impairment')
WHERE grade = ''
"""
LOOK = """
UPDATE scheduling_followup SET next_at = CURRENT_TIMESTAMP
WHERE next_at IS NULL AND state IN ('open', 'deferred') AND kind <> 'retest'
"""


class Migration(migrations.Migration):
    dependencies = [
        ("scheduling", "0002_response_times"),
        ("inspections", "0001_tables"),
    ]

    operations = [
        migrations.RunSQL(GRADES, migrations.RunSQL.noop),
        migrations.RunSQL(LOOK, migrations.RunSQL.noop),
    ]
