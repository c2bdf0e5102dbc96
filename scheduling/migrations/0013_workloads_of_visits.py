"""Workloads of visits beside those of buildings: what is in a visit already is read soon too."""

import contractors.keys
import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('buildings', '0009_turn_orders'),
        ('contractors', '0007_owners_day'),
        ('inspections', '0010_order_of_the_record'),
        ('scheduling', '0012_count_workloads'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='workload',
            name='scheduling_one_workload_each',
        ),
        migrations.AddField(
            model_name='workload',
            name='visit',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='inspections.visit'),
        ),
        migrations.AddField(
            model_name="workload",
            name="area",
            field=models.CharField(
                blank=True, default="", help_text="The building's district.", max_length=60
            ),
            preserve_default=False,
        ),
        migrations.AddConstraint(
            model_name='workload',
            constraint=contractors.keys.SameContractor(field='visit', name='scheduling_workload_same_visit'),
        ),
        migrations.AddConstraint(
            model_name='workload',
            constraint=models.UniqueConstraint(condition=models.Q(('visit', None)), fields=('contractor', 'building'), name='scheduling_one_workload_each'),
        ),
        migrations.AddConstraint(
            model_name='workload',
            constraint=models.UniqueConstraint(fields=('contractor', 'visit'), name='scheduling_one_workload_a_visit'),
        ),
        migrations.AddIndex(
            model_name="workload",
            index=models.Index(
                fields=["contractor", "building"], name="scheduling_workload_at"
            ),
        ),
    ]
