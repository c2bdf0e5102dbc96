"""Pages and API of what decides due days: regimes, settings of due days, leave to rest."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.urls import reverse

from buildings.models import Agreement, Regime, Suspension, Timing
from contractors.models import OutboxMessage
from scheduling import due, terms
from scheduling.models import Occurrence
from tests.scheduling.recording import done

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
SWITCH = "waterflow-vane-test"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


@pytest.fixture
def as_manager(as_member, ours):
    return as_member(ours.manager)


@pytest.fixture
def manager(ours, api):
    return api(ours.manager)


@pytest.fixture
def settings_page(ours):
    return reverse("terms", args=[ours.building.pk])


def post(client, address, body, key="once"):
    return client.post(address, body, format="json", HTTP_IDEMPOTENCY_KEY=key)


def occurrence(ours):
    return Occurrence.objects.filter(subject_id=ours.devices["wet_flow"].pk, activity=SWITCH)


def test_leave_written_on_the_page_rests_the_building_once_derived(ours, as_manager, settings_page):
    address = reverse("rest_new", args=[ours.building.pk])
    form = as_manager.get(address).content.decode()
    assert "above freezing" in form
    assert "insurer usually wants to know" in form
    told = {
        "subject": f"system:{ours.wet.pk}",
        "authority": "Ostrand Falls Fire Prevention Bureau",
        "reason": "East wing stands empty",
        "from_on": "2026-11-01",
        "back_on": "",
    }
    with ours.scope():
        due.derive(ours.building, NOW)
        assert occurrence(ours).exists()
    assert as_manager.post(address, told).url == settings_page
    with ours.scope():
        due.derive(ours.building, NOW)
        assert not occurrence(ours).exists()
    for page in (settings_page, reverse("building", args=[ours.building.pk])):
        text = as_manager.get(page).content.decode()
        assert "Ostrand Falls Fire Prevention Bureau" in text
        assert "East wing stands empty" in text


def test_back_and_written_in_error_are_said_on_their_pages(now, ours, as_manager, settings_page):
    with ours.scope():
        told = {"authority": "the bureau", "reason": "empty", "by": ours.manager}
        first = terms.suspend(ours.building, from_on=date(2026, 6, 1), **told)
        second = terms.suspend(ours.wet, from_on=date(2026, 7, 1), **told)
    now.shift(60)
    back = reverse("rest_back", args=[first.matter])
    refused = as_manager.post(back, {"back_on": "2026-05-01"})
    assert refused.status_code == 422
    assert "A day after 2026-06-01" in refused.content.decode()
    assert as_manager.post(back, {"back_on": "2026-11-20"}).url == settings_page
    assert as_manager.post(reverse("rest_withdraw", args=[second.matter])).url == settings_page
    assert "written in error, never held" in as_manager.get(settings_page).content.decode()
    with ours.scope():
        held = {row.subject_kind: row for row in terms.suspensions()}
        assert held["building"].back_on == date(2026, 11, 20)
        assert held["system"].withdrawn
        assert Suspension.objects.count() == 4
    assert as_manager.post(reverse("rest_back", args=[second.matter]), {}).status_code == 422


def test_a_regime_is_laid_beside_and_ended_on_its_pages(ours, as_manager, settings_page):
    address = reverse("regime_new", args=[ours.building.pk])
    told = {
        "regime": "joint_commission",
        "authority": "The accreditor",
        "valid_from": "2026-01-01",
    }
    assert as_manager.post(address, told).url == settings_page
    again = as_manager.post(address, told | {"once": "another"})
    assert again.status_code == 422
    assert "it holds from then on" in again.content.decode()
    with ours.scope():
        row = Regime.objects.get()
    assert "Joint Commission" in as_manager.get(settings_page).content.decode()
    end = reverse("regime_end", args=[row.pk])
    assert as_manager.post(end, {"valid_until": "2025-12-31"}).status_code == 422
    assert as_manager.post(end, {"valid_until": "2026-11-30"}).url == settings_page
    with ours.scope():
        assert Regime.objects.get().valid_until == date(2026, 11, 30)


def test_due_days_are_set_for_an_agreement_and_move_its_due_day(ours, as_manager, settings_page):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        agreement = Agreement.objects.create(
            building=ours.building, valid_from=date(2024, 1, 1), anchor_month=5, recorded_at=NOW
        )
        due.derive(ours.building, NOW)
        before = occurrence(ours).get().due_on
    told = {
        "agreement": str(agreement.pk),
        "valid_from": "2026-01-01",
        "anchoring": "last performed",
        "week_starts": "6",
        "frost_from": "11-15",
        "frost_until": "04-01",
    }
    address = reverse("due_setting_new", args=[ours.building.pk])
    refused = as_manager.post(address, told | {"frost_until": "02-31"})
    assert refused.status_code == 422
    assert "such as 11-15" in refused.content.decode()
    assert as_manager.post(address, told).url == settings_page
    text = as_manager.get(settings_page).content.decode()
    assert "holds today" in text
    assert "week from Sunday" in text
    with ours.scope():
        assert OutboxMessage.objects.filter(kind="building.changed").exists()
        due.derive(ours.building, NOW)
        after = occurrence(ours).get().due_on
    assert after != before


def test_a_setting_for_all_has_every_building_derived_through_the_outbox(ours, manager):
    body = {"valid_from": "2026-11-01", "anchoring": "fixed"}
    with ours.scope():
        OutboxMessage.objects.all().delete()
    made = post(manager, "/api/v1/due-settings/", body)
    assert made.status_code == 201
    assert (made.data["agreement"], made.data["building"]) == (None, None)
    assert post(manager, "/api/v1/due-settings/", body).data["id"] == made.data["id"]
    with ours.scope():
        assert Timing.objects.count() == 1
        assert list(OutboxMessage.objects.values_list("kind", flat=True)) == ["programme.derive"]


def test_leave_to_rest_keeps_its_id_through_the_api(now, ours, manager):
    body = {
        "building": str(ours.building.pk),
        "subject_kind": "device",
        "subject": str(ours.devices["wet_flow"].pk),
        "authority": "the bureau",
        "reason": "out for works",
        "from_on": "2026-06-01",
    }
    made = post(manager, "/api/v1/suspensions/", body)
    assert made.status_code == 201
    address = f"/api/v1/suspensions/{made.data['id']}/"
    now.shift(60)
    back = post(manager, f"{address}resume/", {"back_on": "2026-11-20"})
    assert (back.data["id"], back.data["back_on"]) == (made.data["id"], "2026-11-20")
    assert manager.get("/api/v1/suspensions/", {"on": "2026-07-01"}).data["count"] == 1
    assert manager.get("/api/v1/suspensions/", {"on": "2026-11-20"}).data["count"] == 0
    now.shift(60)
    assert post(manager, f"{address}withdraw/", {}, key="two").data["withdrawn"]
    late = post(manager, f"{address}resume/", {"back_on": "2026-11-21"}, key="three")
    assert late.status_code == 400
    assert "back_on" in str(late.data)


@pytest.mark.parametrize(
    ("address", "body", "field"),
    [
        ("suspensions", {"authority": " "}, "authority"),
        ("suspensions", {"reason": ""}, "reason"),
        ("suspensions", {"from_on": "1066-10-14"}, "from_on"),
        ("suspensions", {"back_on": "2026-05-01"}, "back_on"),
        ("suspensions", {"subject_kind": "system"}, "subject"),
        ("suspensions", {"subject": "00000000-0000-7000-8000-000000000000"}, "subject"),
        ("regimes", {"regime": "no_such"}, "regime"),
        ("regimes", {"valid_until": "2025-01-01"}, "valid_until"),
        ("regimes", {"edition": 3}, "edition"),
        ("due-settings", {"anchoring": "never"}, "anchoring"),
        ("due-settings", {"week_starts": 7}, "week_starts"),
        ("due-settings", {"frost_from": "11-15"}, "frost_until"),
        ("due-settings", {"valid_from": "3000-01-01"}, "valid_from"),
    ],
)
def test_what_cannot_be_is_refused_by_field(ours, manager, address, body, field):
    good = {
        "suspensions": {
            "building": str(ours.building.pk),
            "authority": "the bureau",
            "reason": "empty",
            "from_on": "2026-06-01",
        },
        "regimes": {
            "building": str(ours.building.pk),
            "regime": "cms",
            "authority": "The agency",
            "valid_from": "2026-01-01",
        },
        "due-settings": {"valid_from": "2026-01-01"},
    }[address]
    refused = post(manager, f"/api/v1/{address}/", good | body)
    assert refused.status_code == 400
    assert field in str(refused.data)


@pytest.mark.parametrize("address", ["regimes", "due-settings", "suspensions"])
def test_only_the_manager_writes_and_with_a_key(ours, manager, api, address):
    where = f"/api/v1/{address}/"
    assert manager.post(where, {}, format="json").status_code == 400
    assert post(api(ours.office), where, {}).status_code == 403
    assert api(ours.office).get(where).status_code == 200
    assert api(ours.technician).get(where).status_code == 403


def test_the_office_reads_the_settings_and_sets_none(ours, as_member, settings_page):
    office = as_member(ours.office)
    assert "Lay a regime" not in office.get(settings_page).content.decode()
    assert office.post(reverse("rest_new", args=[ours.building.pk]), {}).status_code == 403
