"""Nothing: what is derived already is counted by the last migration that changes how."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0010_order_of_the_record"),
        ("scheduling", "0011_workloads"),
    ]

    operations = []
