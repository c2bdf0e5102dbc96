import django.db.models.deletion
from django.db import migrations, models

import contractors.keys
import contractors.models.base
import contractors.scope


class Migration(migrations.Migration):
    dependencies = [
        ("buildings", "0008_owners_day"),
        ("contractors", "0007_owners_day"),
        ("scheduling", "0010_keys_that_imply_the_contractor"),
    ]

    operations = [
        migrations.DeleteModel(
            name="WeekLoad",
        ),
        migrations.RemoveIndex(
            model_name="occurrence",
            name="scheduling_due",
        ),
        migrations.AddIndex(
            model_name="occurrence",
            index=models.Index(fields=["contractor", "due_on"], name="scheduling_due"),
        ),
        migrations.CreateModel(
            name="Workload",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=contractors.models.base.new_id,
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                (
                    "counts",
                    models.BinaryField(help_text="Packed: one value a building is read soon."),
                ),
                (
                    "building",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="buildings.building",
                    ),
                ),
                (
                    "contractor",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        default=contractors.scope.current_contractor_id,
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="contractors.contractor",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "constraints": [
                    contractors.keys.TenantRows(name="scheduling_workload_rows"),
                    contractors.keys.SameContractor(
                        field="building", name="scheduling_workload_same_building"
                    ),
                    models.UniqueConstraint(
                        fields=("contractor", "building"), name="scheduling_one_workload_each"
                    ),
                ],
            },
        ),
    ]
