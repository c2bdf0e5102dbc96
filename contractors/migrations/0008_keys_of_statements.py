"""The function by which keys of derived rows are checked, a statement's rows together."""

from django.db import migrations

SQL = """
CREATE OR REPLACE FUNCTION app_same_contractor() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  missing text := format(
    '%%1$s.%1$I IS NOT NULL AND NOT EXISTS (SELECT 1 FROM %2$I t'
    ' WHERE t.contractor_id = %%1$s.contractor_id AND t.id = %%1$s.%1$I)', TG_ARGV[0], TG_ARGV[1]);
  stray boolean;
BEGIN
  IF TG_LEVEL = 'STATEMENT' THEN
    EXECUTE format('SELECT EXISTS (SELECT 1 FROM'
      ' (SELECT DISTINCT contractor_id, %1$I FROM written) w WHERE ', TG_ARGV[0])
      || format(missing, 'w') || ')' INTO stray;
  ELSE
    EXECUTE format('SELECT ' || missing, '($1)') INTO stray USING NEW;
  END IF;
  IF stray THEN
    RAISE EXCEPTION '% of % names no row of %', TG_ARGV[0], TG_TABLE_NAME, TG_ARGV[1]
      USING ERRCODE = 'foreign_key_violation';
  END IF;
  RETURN NULL;
END $$;
"""


def make_function(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(SQL, params=None)


class Migration(migrations.Migration):
    dependencies = [
        ("contractors", "0007_owners_day"),
    ]

    operations = [
        migrations.RunPython(make_function, migrations.RunPython.noop),
    ]
