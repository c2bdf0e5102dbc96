from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("contractors", "0005_search_words"),
    ]

    operations = [
        migrations.CreateModel(
            name="Allowance",
            fields=[
                ("key", models.CharField(max_length=64, primary_key=True, serialize=False)),
                ("whole_at", models.FloatField()),
            ],
        ),
    ]
