"""Whose rows: each of the three nets holds by itself."""

from datetime import date
from uuid import uuid4

import pytest
from django.apps import apps
from django.db import connection, transaction
from django.db.utils import DatabaseError, IntegrityError

from buildings.models import Building, Riser, System
from contractors.checks import tenant_tables_have_keys
from contractors.models import AuditEntry, OutboxMessage
from contractors.scope import NoContractor, WrongContractor, contractor_scope, owner_scope
from scheduling.models import Occurrence, PublishedBuilding, Workload

pytestmark = pytest.mark.django_db
DAY = date(2026, 11, 25)


OUTSIDE_THE_POLICY = {
    "contractors_contractor",
    "contractors_user",
    "contractors_membership",
    "contractors_owner",
    "contractors_owneraccess",
    "contractors_accesstoken",
    "contractors_allowance",
    "contractors_outboxmessage",
    "contractors_calendarfeed",
    "contractors_ownerexport",
    "django_session",
    "django_migrations",
    "django_content_type",
    "auth_group",
    "auth_group_permissions",
    "auth_permission",
    "account_emailaddress",
    "account_emailconfirmation",
    "mfa_authenticator",
    "usersessions_usersession",
    "knox_authtoken",
}


def test_a_query_without_a_contractor_is_an_error(ours):
    with pytest.raises(NoContractor):
        Building.objects.count()


def test_raw_sql_without_a_contractor_is_an_error(ours):
    with connection.cursor() as cursor, pytest.raises(NoContractor):
        cursor.execute('SELECT count(*) FROM "buildings_building"')


def test_only_rows_of_the_contractor_in_scope_are_seen(ours, theirs):
    with theirs.scope():
        assert not Building.objects.filter(pk=ours.building.pk).exists()
        assert Building.objects.filter(pk=theirs.building.pk).exists()


def test_a_queryset_made_in_one_scope_is_read_in_another_as_that_ones(ours, theirs):
    with ours.scope():
        rows = Building.objects.all()
    with theirs.scope():
        assert [b.pk for b in rows] == [theirs.building.pk]


def test_related_rows_and_forward_keys_are_scoped(ours, theirs):
    with ours.scope():
        riser = Riser.objects.get(pk=ours.riser.pk)
    with theirs.scope():
        with pytest.raises(System.DoesNotExist):
            _ = riser.system
        assert ours.building.systems.count() == 0


def test_a_row_of_another_contractor_cannot_be_written(ours, theirs):
    with theirs.scope(), pytest.raises(WrongContractor):
        ours.building.save()
    with theirs.scope(), pytest.raises(WrongContractor):
        Building.objects.bulk_create([ours.building])


@pytest.mark.parametrize(
    ("model", "values"),
    [
        (System, {"code": "X", "name": "stray", "kind": "wet"}),
        (Workload, {"counts": b""}),
    ],
)
def test_a_row_cannot_point_at_another_contractors_row(ours, theirs, model, values):
    with ours.scope(), pytest.raises(IntegrityError):
        _write(model, building_id=theirs.building.pk, **values)


@pytest.mark.parametrize("at", ["building", "system"])
def test_no_derived_row_among_many_points_at_another_contractors_row(ours, theirs, at):
    def rows():
        told = {"due_on": DAY, "latest_on": DAY, "derived_on": DAY, "activity": "a look"}
        return [
            Occurrence(building=ours.building, system=ours.wet, subject_id=uuid4(), **told)
            for _number in range(3)
        ]

    @transaction.atomic
    def put(made):
        Occurrence.objects.bulk_create(made)
        connection.check_constraints()

    @transaction.atomic
    def turn(column, value):
        Occurrence.objects.update(**{column: value})
        connection.check_constraints()

    stray = getattr(theirs, "wet" if at == "system" else at).pk
    with ours.scope():
        put(rows())
        among = rows()
        setattr(among[1], f"{at}_id", stray)
        with pytest.raises(IntegrityError):
            put(among)
        with pytest.raises(IntegrityError):
            turn(f"{at}_id", stray)
        turn("system_id", ours.preaction.pk)
        assert Occurrence.objects.count() == 3


@transaction.atomic
def _write(model, **values):
    model.objects.create(**values)
    connection.check_constraints()


@pytest.mark.parametrize(("model", "faults"), [(System, []), (Building, ["contractors.E004"])])
def test_only_a_key_that_is_never_null_stands_in_for_the_one_to_the_contractor(
    monkeypatch, model, faults
):
    assert tenant_tables_have_keys(None) == []
    monkeypatch.setattr(model._meta.get_field("contractor"), "db_constraint", False)
    assert [one.id for one in tenant_tables_have_keys(None)] == faults


def test_a_nested_scope_gives_the_outer_one_back(ours, theirs):
    with ours.scope():
        with theirs.scope():
            assert Building.objects.get().pk == theirs.building.pk
        assert Building.objects.get().pk == ours.building.pk


def test_an_owner_sees_what_was_published_to_them_and_no_contractors_table(ours, theirs):
    for scene in (ours, theirs):
        with scene.scope():
            PublishedBuilding.objects.create(
                owner=scene.owner,
                building_id=scene.building.pk,
                engaged_from=scene.building.taken_over_on,
                name=scene.building.name,
                word="in_order",
                told_at="2026-11-25T00:00:00Z",
            )
    with owner_scope(ours.owner.pk):
        assert [b.building_id for b in PublishedBuilding.objects.all()] == [ours.building.pk]
        with pytest.raises(NoContractor):
            Building.objects.count()


def test_the_list_of_tables_outside_the_policy_is_this_one():
    tenant = {m._meta.db_table for m in apps.get_models() if getattr(m, "is_tenant_table", False)}
    assert set(connection.introspection.table_names()) - tenant == OUTSIDE_THE_POLICY


def test_the_outbox_holds_no_text(ours):
    names = {f.name: f for f in OutboxMessage._meta.fields}
    assert not [n for n, f in names.items() if f.get_internal_type() == "TextField"]


def test_every_tenant_table_has_a_forced_policy():
    if connection.vendor != "postgresql":
        with pytest.raises(DatabaseError):
            _update_sealed_row()
        return
    tenant = {m._meta.db_table for m in apps.get_models() if getattr(m, "is_tenant_table", False)}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT c.relname FROM pg_class c JOIN pg_policy p ON p.polrelid = c.oid"
            " WHERE c.relrowsecurity AND c.relforcerowsecurity"
        )
        assert {row[0] for row in cursor.fetchall()} == tenant
        cursor.execute("SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user")
        assert cursor.fetchone() == (False,)


def _update_sealed_row():
    from contractors.models import Contractor

    contractor = Contractor.objects.create(code="x", name="x")
    with contractor_scope(contractor.pk):
        entry = AuditEntry.objects.create(
            at="2026-11-25T00:00:00Z", action="a.b", subject_kind="x", subject_id=contractor.pk
        )
        with transaction.atomic():
            AuditEntry.objects.filter(pk=entry.pk).update(action="changed")


def test_sealed_rows_resist_the_orm_and_sql(ours):
    with ours.scope():
        entry = AuditEntry.objects.create(
            at="2026-11-25T00:00:00Z", action="a.b", subject_kind="x", subject_id=ours.building.pk
        )
        for attempt in (
            lambda: AuditEntry.objects.filter(pk=entry.pk).update(action="changed"),
            lambda: entry.delete(),
            lambda: _sql("UPDATE contractors_auditentry SET action = 'changed'"),
            lambda: _sql("DELETE FROM contractors_auditentry"),
        ):
            with pytest.raises(DatabaseError), transaction.atomic():
                attempt()
        assert AuditEntry.objects.get(pk=entry.pk).action == "a.b"


def _sql(statement):
    with connection.cursor() as cursor:
        cursor.execute(statement)


def test_postgres_itself_hides_rows_when_the_filter_is_forgotten(ours, theirs):
    if connection.vendor != "postgresql":
        with ours.scope():
            assert Building._base_manager.count() == 1
        return
    with ours.scope(), connection.cursor() as cursor:
        cursor.execute("SELECT id FROM buildings_building")
        assert [row[0] for row in cursor.fetchall()] == [ours.building.pk]
        cursor.execute(
            "UPDATE buildings_building SET name = 'taken' WHERE id = %s", [theirs.building.pk]
        )
        assert cursor.rowcount == 0
