from django.db import migrations, models
import contractors.keys
import contractors.models.base
import contractors.scope
import django.db.models.deletion


class Migration(migrations.Migration):

    dependencies = [
        ('buildings', '0004_engagements_known'),
        ('contractors', '0005_search_words'),
        ('scheduling', '0003_follow_ups_looked_at'),
    ]

    operations = [
        migrations.AddField(
            model_name='occurrence',
            name='adds',
            field=models.FloatField(default=0, help_text='With its share of what is counted once for all the work of that week there.', verbose_name='minutes it adds to its week, own estimate'),
        ),
        migrations.RemoveIndex(
            model_name='occurrence',
            name='scheduling_due',
        ),
        migrations.AddIndex(
            model_name='occurrence',
            index=models.Index(fields=['contractor', 'due_on'], include=['building', 'latest_on', 'by_owner', 'activity', 'qualification', 'frequency', 'system', 'visit', 'adds'], name='scheduling_due'),
        ),
        migrations.CreateModel(
            name='WeekLoad',
            fields=[
                ('id', models.UUIDField(default=contractors.models.base.new_id, editable=False, primary_key=True, serialize=False)),
                ('by_owner', models.BooleanField(default=False, verbose_name='done by the owner')),
                ('monday', models.DateField(verbose_name='week')),
                ('latest_on', models.DateField(verbose_name='latest')),
                ('count', models.PositiveIntegerField()),
                ('minutes', models.FloatField(verbose_name='minutes, own estimate')),
                ('building', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='week_loads', to='buildings.building')),
                ('contractor', models.ForeignKey(db_index=False, default=contractors.scope.current_contractor_id, editable=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='contractors.contractor')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'indexes': [models.Index(fields=['contractor', 'by_owner', 'monday'], include=['building', 'latest_on', 'count', 'minutes'], name='scheduling_week_loads')],
                'constraints': [contractors.keys.TenantRows(name='scheduling_weekload_rows'), contractors.keys.SameContractor(field='building', name='scheduling_weekload_same_building'), models.UniqueConstraint(fields=('contractor', 'building', 'by_owner', 'monday', 'latest_on'), name='scheduling_one_week_load')],
            },
        ),
    ]
