"""The database of a test run: migrated once, cloned, reached as the application's plain role."""

import pytest
from django.db import connection

from tests import databases, servers


@pytest.mark.django_db
def test_every_migration_is_applied():
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    assert executor.migration_plan(executor.loader.graph.leaf_nodes()) == []


@pytest.mark.django_db
def test_the_tests_connect_as_a_role_that_no_policy_spares():
    if not databases.on_postgres():
        assert connection.vendor == "sqlite"
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT rolname, rolsuper, rolbypassrls, rolcreatedb FROM pg_roles"
            " WHERE rolname = current_user"
        )
        assert cursor.fetchone() == (servers.APP_ROLE, False, False, False)
