"""Calendars that programs fetch. Rules: RFC 5545, by section; RFC 7986 (NAME, REFRESH-INTERVAL)."""

import re
from datetime import UTC, date, datetime, timedelta

import icalendar
import pytest
import time_machine

from buildings.models import Building, Engagement
from contractors import calendars
from contractors.models import CalendarFeed, OwnerAccess, Person, User
from contractors.scope import owner_scope
from inspections import planned, visits
from inspections.models import Visit
from scheduling import due
from scheduling.models import PublishedBuilding

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
SECRETS = ("Key at the desk", "555 0111", "555 0122", "4471", "Kim Porter", "desk@mill.example")


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as travelled:
        yield travelled


@pytest.fixture
def visit(ours):
    with ours.scope():
        return planned.make(
            ours.building,
            by=ours.manager,
            technician=ours.people["technician"],
            title="Annual round",
            planned_start=datetime(2026, 12, 3, 14, tzinfo=UTC),
            planned_minutes=90,
        )


def made(client, what, label="Telephone", path="/calendars/"):
    """Make a calendar on the page; return its address there, without the host."""
    page = client.post(path, {"what": what, "label": label})
    assert page.status_code == 200, page.content
    (address,) = re.findall(r"/calendars/[\w-]{43}\.ics", page.content.decode())
    return address


def of_technician(ours, client):
    return made(client, f"technician:{ours.people['technician'].pk}")


def fetched(client, address):
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return icalendar.Calendar.from_ical(answer.content)


def events(client, address):
    return {str(e["uid"]): e for e in fetched(client, address).walk("VEVENT")}


def test_a_technician_subscribes_to_their_own_visits(ours, visit, as_technician, client):
    found = events(client, of_technician(ours, as_technician))
    event = found[f"visit-{visit.pk}"]
    assert str(event["summary"]) == "Old Mill Offices: Annual round"
    assert str(event["location"]) == "12 Mill Lane, Sampleton, ME 04000"
    assert event.start == datetime(2026, 12, 3, 14, tzinfo=UTC)
    assert event.end - event.start == timedelta(minutes=90)
    assert event["dtstart"].params["TZID"] == "America/New_York"
    assert (event.sequence, event.status) == (0, "CONFIRMED")
    assert len(found) == 1


def test_what_the_rfc_demands_of_a_calendar_is_there(ours, visit, as_manager, client):
    with ours.scope():
        due.derive(ours.building)
    answer = client.get(made(as_manager, f"building:{ours.building.pk}"))
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    # 3.1: lines end in CRLF and have at most 75 octets; 3.4: the object's frame.
    lines = answer.content.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    assert (lines[0], lines[-2], lines[-1]) == (b"BEGIN:VCALENDAR", b"END:VCALENDAR", b"")
    assert b"\n" not in answer.content.replace(b"\r\n", b"")
    calendar = icalendar.Calendar.from_ical(answer.content)
    # 3.6: PRODID and VERSION once; 3.7.1: GREGORIAN; 3.7.2: METHOD.
    assert (calendar["version"], calendar["method"]) == ("2.0", "PUBLISH")
    assert calendar["prodid"]
    found = calendar.walk("VEVENT")
    assert len(found) > 3
    zones = {str(zone["tzid"]) for zone in calendar.walk("VTIMEZONE")}
    for event in found:
        # 3.6.1: UID and DTSTAMP once; with METHOD, DTSTART may be left out, we never do.
        for name in ("uid", "dtstamp", "dtstart", "dtend", "sequence"):
            assert not isinstance(event[name], list), name
        # 3.8.7.2: DTSTAMP in UTC; 3.8.2.2: the end after the start, of the same type.
        assert event["dtstamp"].to_ical().endswith(b"Z")
        assert type(event["dtend"].dt) is type(event["dtstart"].dt)
        assert event["dtend"].dt > event["dtstart"].dt
        # 3.2.19: a TZID has its VTIMEZONE; a day has none.
        if isinstance(event["dtstart"].dt, datetime):
            assert event["dtstart"].params["TZID"] in zones
        else:
            assert event["dtstart"].params.get("VALUE") == "DATE"
            assert "TZID" not in event["dtstart"].params
        # 3.8.1.11 and 3.8.2.7
        assert event["status"] in ("CONFIRMED", "CANCELLED")
        assert event["transp"] in ("OPAQUE", "TRANSPARENT")
    # 3.8.4.7: UIDs are unique.
    assert len({str(e["uid"]) for e in found}) == len(found)
    # 3.6.5: each VTIMEZONE has observances with their three offsets and starts.
    for zone in calendar.walk("VTIMEZONE"):
        assert zone.subcomponents
        for part in zone.subcomponents:
            assert {"dtstart", "tzoffsetto", "tzoffsetfrom"} <= {n.lower() for n in part}


@pytest.mark.parametrize(
    ("zone", "local"),
    [
        ("America/New_York", "2027-03-12T09:00-05:00"),
        ("America/New_York", "2027-03-15T09:00-04:00"),
        ("America/New_York", "2026-10-30T09:00-04:00"),
        ("America/New_York", "2026-11-02T09:00-05:00"),
        ("America/Phoenix", "2027-07-01T09:00-07:00"),
        ("Australia/Sydney", "2027-04-02T09:00+11:00"),
        ("Australia/Sydney", "2027-04-06T09:00+10:00"),
        ("Asia/Kolkata", "2026-12-01T09:00+05:30"),
    ],
)
def test_the_time_on_the_wall_is_the_buildings_on_either_side_of_a_change(
    ours, visit, as_technician, client, zone, local
):
    """Source of the offsets: the IANA time zone database."""
    at = datetime.fromisoformat(local)
    with ours.scope():
        Building.objects.filter(pk=ours.building.pk).update(time_zone=zone)
        Visit.objects.filter(pk=visit.pk).update(planned_start=at, planned_on=at.date())
    answer = client.get(of_technician(ours, as_technician))
    calendar = icalendar.Calendar.from_ical(answer.content)
    (event,) = calendar.walk("VEVENT")
    assert event["dtstart"].to_ical().decode() == f"{at:%Y%m%dT%H%M%S}"
    # By the file's own VTIMEZONE alone, as a program reads it that knows no time zones.
    (written,) = calendar.walk("VTIMEZONE")
    own = written.to_tz(lookup_tzid=False)
    assert at.replace(tzinfo=own).utcoffset() == at.utcoffset()


def test_a_moved_visit_moves_and_a_cancelled_one_is_told_as_cancelled_for_a_while(
    ours, visit, as_technician, client, clock
):
    address = of_technician(ours, as_technician)
    uid = f"visit-{visit.pk}"
    assert events(client, address)[uid].sequence == 0
    assert events(client, address)[uid].sequence == 0
    clock.shift(timedelta(hours=1))
    with ours.scope():
        planned.change(visit, {"planned_on": date(2026, 12, 8)}, by=ours.manager)
    moved = events(client, address)[uid]
    assert (moved.sequence, moved.start.date()) == (1, date(2026, 12, 8))
    assert moved["dtstamp"].dt == NOW + timedelta(hours=1)
    with ours.scope():
        fresh = Visit.objects.get(pk=visit.pk)
        visits.cancel(fresh, reason="other", text="The owner asked", by=ours.manager)
    gone = events(client, address)[uid]
    assert (gone.sequence, gone.status) == (2, "CANCELLED")
    assert gone.start.date() == date(2026, 12, 8)
    clock.shift(calendars.CANCELLED_FOR + timedelta(minutes=1))
    assert uid not in events(client, address)


@pytest.mark.parametrize("hour", [None, 1], ids=["a whole day", "an evening"])
def test_a_visit_that_slides_out_of_sight_is_never_told_as_cancelled(
    ours, visit, as_technician, client, clock, hour
):
    with ours.scope():
        # One at night in UTC is the evening before at the building.
        start = hour and datetime(2026, 12, 4, hour, tzinfo=UTC)
        Visit.objects.filter(pk=visit.pk).update(planned_start=start, planned_on=date(2026, 12, 3))
    address = of_technician(ours, as_technician)
    told = []
    for day in (3, 62, 63, 64, 65, 66, 67, 68, 69, 70):
        clock.move_to(datetime(2026, 12, 1, 15, tzinfo=UTC) + timedelta(days=day))
        found = events(client, address).get(f"visit-{visit.pk}")
        told.append(found and str(found.status))
    assert told[0] == "CONFIRMED"
    assert told[-1] is None
    assert "CANCELLED" not in told


def test_a_visit_given_to_somebody_else_is_cancelled_in_the_first_ones_calendar_only(
    ours, visit, as_technician, as_manager, client
):
    with ours.scope():
        other = Person.objects.create(code="TWO", name="Lee Fitter", is_technician=True)
    first = of_technician(ours, as_technician)
    second = made(as_manager, f"technician:{other.pk}")
    uid = f"visit-{visit.pk}"
    assert events(client, first)[uid].status == "CONFIRMED"
    assert events(client, second) == {}
    with ours.scope():
        planned.change(visit, {"technician": other}, by=ours.manager)
    assert events(client, first)[uid].status == "CANCELLED"
    assert events(client, second)[uid].status == "CONFIRMED"
    with ours.scope():
        fresh = Visit.objects.get(pk=visit.pk)
        planned.change(fresh, {"technician": ours.people["technician"]}, by=ours.manager)
    back = events(client, first)[uid]
    assert (back.status, back.sequence) == ("CONFIRMED", 2)


def test_a_visit_without_an_hour_is_a_day(ours, visit, as_technician, client):
    with ours.scope():
        Visit.objects.filter(pk=visit.pk).update(planned_start=None, planned_on=date(2027, 2, 28))
    event = events(client, of_technician(ours, as_technician))[f"visit-{visit.pk}"]
    assert (event["dtstart"].dt, event["dtend"].dt) == (date(2027, 2, 28), date(2027, 3, 1))


def test_a_building_shows_its_windows_as_whole_days(ours, as_manager, client):
    with ours.scope():
        due.derive(ours.building)
        rows = list(ours.building.occurrences.filter(by_owner=False))
    found = events(client, made(as_manager, f"building:{ours.building.pk}"))
    days = [e for e in found.values() if re.search("latest|overdue", str(e["summary"]))]
    assert {e["transp"] for e in days} == {"TRANSPARENT"}
    latest = {(e["dtend"].dt - timedelta(days=1)) for e in days}
    horizon = (NOW + calendars.SHOWN_AHEAD).date()
    assert latest <= {row.latest_on for row in rows if row.due_on <= horizon}
    late = [e for e in days if "overdue" in str(e["summary"])]
    assert late
    assert {e["dtend"].dt - timedelta(days=1) < NOW.date() for e in late} == {True}


@pytest.mark.parametrize(
    "text", ["Annual\r\nBEGIN:VALARM\r\nx", "a,b;c\\d", "=1+1", "\x00\x07é" * 60]
)
def test_hostile_names_stay_one_text(ours, visit, as_technician, client, text):
    with ours.scope():
        Visit.objects.filter(pk=visit.pk).update(title=text[:200].replace("\x00", ""))
    answer = client.get(of_technician(ours, as_technician))
    # 3.3.11: backslash, semicolon, comma and line end are escaped; 3.1: no control is written.
    assert not re.search(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", answer.content)
    assert max(len(line) for line in answer.content.split(b"\r\n")) <= 75
    calendar = icalendar.Calendar.from_ical(answer.content)
    assert not calendar.walk("VALARM")
    (event,) = calendar.walk("VEVENT")
    clean = re.sub(r"[\x00\x07]", "", text[:200]).replace("\r\n", "\n")
    assert str(event["summary"]) == f"Old Mill Offices: {clean}"


def test_no_calendar_tells_a_secret(ours, visit, as_technician, as_manager, as_owner, client):
    with ours.scope():
        due.derive(ours.building)
    for address in (
        of_technician(ours, as_technician),
        made(as_manager, f"building:{ours.building.pk}"),
        made(as_owner, "owner:", path="/owner/calendars/"),
    ):
        text = client.get(address).content.decode().replace("\r\n ", "")
        assert "Old Mill Offices" in text
        for secret in SECRETS:
            assert secret not in text


def test_an_owner_sees_visits_and_due_days_of_their_buildings_only(
    ours, theirs, visit, as_owner, client
):
    for scene in (ours, theirs):
        with scene.scope():
            due.derive(scene.building)
    with theirs.scope():
        Building.objects.filter(pk=theirs.building.pk).update(name="Zylophane Hall")
        planned.make(theirs.building, by=theirs.manager, planned_on=date(2026, 12, 4))
    address = made(as_owner, "owner:", path="/owner/calendars/")
    found = events(client, address)
    assert str(found[f"visit-{visit.pk}"]["summary"]) == "Old Mill Offices: visit, Annual round"
    assert any("due" in str(e["summary"]) for e in found.values())
    assert not any("Zylophane" in str(e["summary"]) for e in found.values())
    with owner_scope(ours.owner.pk):
        assert PublishedBuilding.objects.count() == 1


def test_after_an_engagement_ends_nothing_new_is_told_and_what_lies_after_is_cancelled(
    ours, visit, as_owner, client
):
    with ours.scope():
        due.derive(ours.building)
    address = made(as_owner, "owner:", path="/owner/calendars/")
    before = events(client, address)
    with ours.scope():
        Engagement.objects.update(until_on=date(2026, 11, 24))
        later = planned.make(ours.building, by=ours.manager, planned_on=date(2026, 12, 9))
    after = events(client, address)
    assert after[f"visit-{visit.pk}"].status == "CANCELLED"
    assert f"visit-{later.pk}" not in after
    assert set(after) <= set(before)
    coming = [e for e in after.values() if str(e["dtstart"].dt)[:10] > "2026-11-24"]
    assert {e.status for e in coming} == {"CANCELLED"}


def ends_by(what, ours, feed):
    """Take away what the feed rests on."""
    match what:
        case "revoked":
            CalendarFeed.objects.filter(pk=feed.pk).update(revoked_at=NOW)
        case "membership over":
            type(ours.technician).objects.filter(pk=ours.technician.pk).update(
                ended_on=date(2026, 11, 24)
            )
        case "sign-in taken away":
            User.objects.filter(pk=ours.technician.user_id).update(is_active=False)
        case "goes out no more":
            with ours.scope():
                Person.objects.filter(membership=ours.technician).update(is_technician=False)
        case "another role":
            type(ours.technician).objects.filter(pk=ours.technician.pk).update(role="trainer")


@pytest.mark.parametrize(
    "what",
    ["revoked", "membership over", "sign-in taken away", "goes out no more", "another role"],
)
def test_an_address_that_ended_answers_like_one_that_never_was(
    ours, visit, as_technician, client, what
):
    address = of_technician(ours, as_technician)
    assert client.get(address).status_code == 200
    ends_by(what, ours, CalendarFeed.objects.get())
    over, never = client.get(address), client.get("/calendars/" + "x" * 43 + ".ics")
    assert (over.status_code, over.content) == (404, b"")
    assert (never.status_code, never.content) == (404, b"")
    assert dict(over.headers) == dict(never.headers)
    assert client.get("/calendars/" + "y" * 4000 + ".ics").status_code == 404


def test_a_deactivated_technicians_calendar_ends_for_the_manager_too(
    ours, visit, as_manager, client
):
    address = of_technician(ours, as_manager)
    assert client.get(address).status_code == 200
    User.objects.filter(pk=ours.technician.user_id).update(is_active=False)
    assert client.get(address).status_code == 404


def test_an_owners_calendar_ends_with_their_access(ours, as_owner, client):
    address = made(as_owner, "owner:", path="/owner/calendars/")
    assert client.get(address).status_code == 200
    OwnerAccess.objects.filter(pk=ours.access.pk).update(until_on=date(2026, 11, 24))
    assert client.get(address).status_code == 404


def test_nobody_subscribes_to_what_is_not_theirs(ours, theirs, as_technician, as_manager, as_owner):
    with ours.scope():
        other = Person.objects.create(code="TWO", name="Lee Fitter", is_technician=True)
    theirs_one = theirs.people["technician"].pk
    for client, what in (
        (as_technician, f"technician:{other.pk}"),
        (as_technician, f"building:{ours.building.pk}"),
        (as_manager, f"technician:{theirs_one}"),
        (as_manager, f"building:{theirs.building.pk}"),
        (as_manager, "owner:"),
        (as_manager, "technician:nonsense"),
        (as_manager, ""),
    ):
        assert client.post("/calendars/", {"what": what, "label": "x"}).status_code == 400
    for what in (f"building:{ours.building.pk}", f"owner:{ours.building.pk}"):
        answer = as_owner.post("/owner/calendars/", {"what": what, "label": "x"})
        assert answer.status_code == 400
    assert not CalendarFeed.objects.exists()


def test_another_contractors_address_shows_their_rows_and_none_of_ours(
    ours, theirs, visit, as_member, client
):
    with theirs.scope():
        planned.make(
            theirs.building,
            by=theirs.manager,
            title="Round",
            technician=theirs.people["technician"],
            planned_on=date(2026, 12, 3),
        )
    address = made(as_member(theirs.manager), f"technician:{theirs.people['technician'].pk}")
    assert f"visit-{visit.pk}" not in events(client, address)
    assert len(events(client, address)) == 1


def test_the_secret_is_kept_nowhere_and_shown_once(ours, as_manager):
    address = of_technician(ours, as_manager)
    token = address.removeprefix("/calendars/").removesuffix(".ics")
    row = CalendarFeed.objects.get()
    assert token not in [str(value) for value in vars(row).values()]
    assert len(row.token_hash) == 64
    assert token not in as_manager.get("/calendars/").content.decode()


def test_a_calendar_is_named_seen_used_and_revoked(ours, as_manager, client, as_technician):
    address = of_technician(ours, as_technician)
    page = as_manager.get("/calendars/").content.decode()
    assert "Telephone" in page
    assert "never" in page
    client.get(address)
    assert CalendarFeed.objects.get().last_used_at == NOW
    assert "10:00 EST" in as_technician.get("/calendars/").content.decode()
    feed = CalendarFeed.objects.get()
    as_manager.post(f"/calendars/{feed.pk}/revoke/")
    assert client.get(address).status_code == 404
    assert "Telephone" not in as_technician.get("/calendars/").content.decode()


def test_an_unchanged_calendar_is_not_sent_again(ours, visit, as_technician, client):
    address = of_technician(ours, as_technician)
    first = client.get(address)
    again = client.get(address, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    with ours.scope():
        planned.change(visit, {"planned_on": date(2026, 12, 8)}, by=ours.manager)
    changed = client.get(address, headers={"If-None-Match": first["ETag"]})
    assert changed.status_code == 200
    assert changed["ETag"] != first["ETag"]
    assert "private" in changed["Cache-Control"]
    assert client.post(address).status_code == 405


def test_a_program_that_asks_without_pause_is_turned_away_and_let_in_later(
    ours, as_technician, client, clock
):
    address = of_technician(ours, as_technician)
    CalendarFeed.objects.update(counted_from=NOW, counted=calendars.MOST_ASKED - 1)
    assert client.get(address).status_code == 200
    refused = client.get(address)
    assert refused.status_code == 429
    assert 500 <= int(refused["Retry-After"]) <= 600
    clock.shift(calendars.COUNTED_FOR)
    assert client.get(address).status_code == 200


def test_a_fetch_that_changes_nothing_asks_a_steady_number_of_times(
    ours, visit, as_manager, client, django_assert_max_num_queries
):
    with ours.scope():
        due.derive(ours.building)
    address = made(as_manager, f"building:{ours.building.pk}")
    client.get(address)
    with django_assert_max_num_queries(16):
        client.get(address)


def test_a_calendar_needs_a_name(ours, as_manager):
    what = f"technician:{ours.people['technician'].pk}"
    for label in ("", "  ", "x" * 81):
        assert as_manager.post("/calendars/", {"what": what, "label": label}).status_code == 400
