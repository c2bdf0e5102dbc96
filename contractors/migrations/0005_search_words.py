import django.db.models.deletion
from django.db import migrations, models

import contractors.keys
import contractors.models.base
import contractors.models.search
import contractors.scope


class Migration(migrations.Migration):
    dependencies = [
        ("contractors", "0004_licences"),
    ]

    operations = [
        migrations.CreateModel(
            name="SearchWord",
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
                ("kind", models.CharField(max_length=12)),
                ("subject_id", models.UUIDField()),
                ("word", contractors.models.search.WordField(max_length=40)),
                ("place", models.PositiveSmallIntegerField()),
                (
                    "contractor",
                    models.ForeignKey(
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
                "indexes": [
                    models.Index(
                        fields=["contractor", "kind", "word"], name="contractors_word_begins"
                    ),
                    models.Index(
                        fields=["contractor", "subject_id", "word"], name="contractors_word_of"
                    ),
                ],
                "constraints": [contractors.keys.TenantRows(name="contractors_searchword_rows")],
            },
        ),
    ]
