import django.db.models.deletion
from django.db import migrations, models

import contractors.keys


class Migration(migrations.Migration):
    dependencies = [
        ("contractors", "0003_mail_choices"),
    ]

    operations = [
        migrations.AddField(
            model_name="person",
            name="firm",
            field=models.CharField(
                blank=True,
                help_text=(
                    "Only for somebody of another firm, who comes as the second on a visit."
                ),
                max_length=120,
                verbose_name="other firm",
            ),
        ),
        migrations.AddField(
            model_name="licence",
            name="scan",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="contractors.storedfile",
            ),
        ),
        migrations.AddIndex(
            model_name="licence",
            index=models.Index(
                fields=["contractor", "valid_until"], name="contractors_licence_ends"
            ),
        ),
        migrations.AddConstraint(
            model_name="licence",
            constraint=contractors.keys.SameContractor(
                field="scan", name="contractors_licence_same_scan"
            ),
        ),
    ]
