"""Keys of derived rows to their buildings are checked a statement's rows together."""

import contractors.keys
from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('buildings', '0009_turn_orders'),
        ('contractors', '0008_keys_of_statements'),
        ('inspections', '0010_order_of_the_record'),
        ('scheduling', '0014_count_workloads_of_visits'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='occurrence',
            name='scheduling_occurrence_same_building',
        ),
        migrations.RemoveConstraint(
            model_name='occurrence',
            name='scheduling_occurrence_same_system',
        ),
        migrations.RemoveConstraint(
            model_name='question',
            name='scheduling_question_same_building',
        ),
        migrations.RemoveConstraint(
            model_name='standinginterval',
            name='scheduling_standinginterval_same_building',
        ),
        migrations.RemoveConstraint(
            model_name='workload',
            name='scheduling_workload_same_building',
        ),
        migrations.AddConstraint(
            model_name='occurrence',
            constraint=contractors.keys.SameContractorOfMany(field='building', name='scheduling_occurrence_same_building'),
        ),
        migrations.AddConstraint(
            model_name='occurrence',
            constraint=contractors.keys.SameContractorOfMany(field='system', name='scheduling_occurrence_same_system'),
        ),
        migrations.AddConstraint(
            model_name='question',
            constraint=contractors.keys.SameContractorOfMany(field='building', name='scheduling_question_same_building'),
        ),
        migrations.AddConstraint(
            model_name='standinginterval',
            constraint=contractors.keys.SameContractorOfMany(field='building', name='scheduling_standinginterval_same_building'),
        ),
        migrations.AddConstraint(
            model_name='workload',
            constraint=contractors.keys.SameContractorOfMany(field='building', name='scheduling_workload_same_building'),
        ),
    ]
