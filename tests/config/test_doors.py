"""Every route with another contractor's objects: the answer is that of an id that stands nowhere.

The table below has one row for each route; a route without one fails the run.
"""

import re
from datetime import UTC, date, datetime
from uuid import UUID, uuid4

import pytest
import time_machine
from django.urls import URLPattern, URLResolver, get_resolver

from buildings.models import Sketch, TurnOrder
from contractors import notices, outbox
from contractors.models import CalendarFeed, Export, OutboxMessage, OwnerExport, StoredFile
from inspections import (
    findings,
    flow_readings,
    practising,
    record,
    rules,
    sampling,
    supplies,
    valve_runs,
)
from inspections.models import (
    Event,
    Finding,
    Impairment,
    Photo,
    Quarantined,
    Reading,
    Report,
    Result,
    Tablet,
    Visit,
    VisitLine,
)
from scheduling import due, ladders, legal, off_limits, responses, terms
from scheduling.models import FollowUp, Occurrence, Plan, Question, Stop

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
CANARY = "Zylophane Hall"

# Nobody's rows: the service itself, sign-in, and what is the same for everybody.
OPEN = [
    "home",
    "ca_certificate",
    "healthz",
    "choose_door",
    "schema",
    "api_page",
    "tablet",
    # Its address is the secret; it has tests of its own.
    "calendar",
    "tablet_worker",
    "practice_worker",
    "api-activity-detail",
    "calculation",
    "api-calculation-list",
    "api-calculation-detail",
    "api-valve-type-list",
    "api-valve-type-detail",
    "api-valve-evaluate",
]
# Lists and forms without an id: another contractor's words must not stand in them.
WITHOUT_ID = [
    "search",
    "search_suggestions",
    "owner_search",
    "owner_search_suggestions",
    "api-search",
    "buildings",
    "buildings_export",
    "building_new",
    "portfolio_import",
    "portfolio_apply",
    "portfolio_progress",
    "portfolio_sheets",
    "visits",
    "visits_export",
    "visit_blanks",
    "visit_new",
    "findings",
    "findings_export",
    "people",
    "person_new",
    "samples",
    "api-licence-list",
    "api-licence-beyond",
    "api-member-list",
    "api-sample-list",
    "api-sample-due",
    "impairments",
    "rules",
    "calculations",
    "practice",
    "practice_new",
    "tablets",
    "tablet_bundle",
    "today",
    "outbox",
    "due",
    "due_export",
    "due_visits",
    "follow_ups",
    "follow_ups_redate",
    "response_times",
    "response_time_set",
    "overdue_class_set",
    "outage_times_set",
    "holiday_set",
    "notice_hours_set",
    "ladder_set",
    "mail_choice",
    "owner_mail_choice",
    "plans",
    "portfolio",
    "decisions",
    "owner_reports",
    "calendars",
    "owner_calendars",
    "exports",
    "export_progress",
    "owner_exports",
    "owner_export_progress",
    "api-calendar-list",
    "api-export-list",
    "api-export-tables",
    "api-contractor-list",
    "api-person-list",
    "api-building-list",
    "api-jurisdiction-list",
    "api-system-list",
    "api-riser-list",
    "api-device-list",
    "api-import",
    "api-sketch-list",
    "api-make-visits",
    "api-standings",
    "api-occurrence-list",
    "api-question-list",
    "api-follow-up-list",
    "api-follow-ups-redate",
    "api-response-time-list",
    "api-response-time-in-force",
    "api-ladder-list",
    "api-overdue-class-list",
    "api-holiday-list",
    "api-notice-list",
    "api-notice-hours",
    "api-my-mail",
    "api-plan-list",
    "api-stop-list",
    "api-owner-building-list",
    "api-owner-item-list",
    "api-owner-report-list",
    "api-visit-list",
    "api-visit-blanks",
    "api-result-list",
    "api-reading-list",
    "api-photo-list",
    "api-report-list",
    "api-finding-list",
    "api-impairment-list",
    "api-sync-tablets",
    "api-sync-pull",
    "api-sync-push",
    "api-sync-receipts",
    "api-uploads",
    "api-activity-list",
    "api-catalogue-version-list",
    "api-rule-list",
    "api-held-list",
    "api-held-bundle",
    "api-tablet-list",
    "api-regime-list",
    "api-due-setting-list",
    "api-suspension-list",
    "api-off-limits-list",
    "api-turn-order-list",
    "api-valve-run-list",
    "api-supply-point-list",
    "api-supply-point-placards",
    "api-practice-exercise-list",
    "api-practice-run-list",
]
# Routes with an id, by whose id it is.
WITH_ID = {
    "building": """building_year building_why building_answer due_at
        terms regime_new due_setting_new rest_new off_limits_new turn_order_new
        building building_edit system_new riser_new device_new finding_new
        impairment_new sample_new labels sketches sketch_new
        building_supplies supply_new supply_connect
        owner_building api-building-detail
        api-owner-building-detail
        api-building-programme api-building-why""",
    "licence": """licence_renew licence_end licence_scan api-licence-detail api-licence-renew
        api-licence-end api-licence-scan""",
    "sample": """sample sample_result sample_replace sample_certificate api-sample-detail
        api-sample-result api-sample-replace api-sample-certificate""",
    "supply_point": """supply flow_test_new api-supply-point-detail api-supply-point-draws
        api-supply-point-tests api-supply-point-margins""",
    "flow_test": "flow_test_picture flow_test_correct",
    "margin": "margin_picture api-margin-picture",
    "system": """system system_edit placard_new system_history system_picture system_picture_point
        system_tested api-system-detail api-system-trends api-system-trend-picture""",
    "sketch": """sketch_edit sketch_withdraw sketch_picture api-sketch-detail api-sketch-withdraw
        api-sketch-picture""",
    "riser": """at riser riser_edit riser_history riser_picture riser_picture_point
        api-riser-detail api-riser-trends api-riser-trend-picture""",
    "device": """device device_tested device_edit device_history device_picture device_picture_point
        api-device-detail api-device-trends api-device-trend-picture""",
    "person": "licence_new api-person-detail",
    "jurisdiction": "api-jurisdiction-detail",
    "contractor": "api-contractor-detail",
    "visit": """visit visit_edit visit_cancel visit_review visit_photo visit_reports visit_amend
        visit_settle visit_blank visit_paper paper_arrival paper_finding paper_end_state
        paper_station paper_note paper_shut paper_leave paper_hand_in paper_outage paper_steps
        paper_step
        api-visit-blank
        api-visit-detail api-visit-amend api-visit-cancel api-visit-entries api-visit-events
        api-visit-hand-in api-visit-missing api-visit-review
        visit_test_picture api-visit-test-picture""",
    "line": "paper_line",
    "photo": "photo api-photo-detail api-photo-file api-upload",
    "report": """report_pdf report_json report_file api-report-detail api-report-facts
        api-report-pdf api-owner-report-detail api-owner-report-facts api-owner-report-pdf""",
    "finding": """finding finding_reclass finding_accept finding_drop finding_decide finding_close
        decide api-finding-detail api-finding-accept api-finding-close api-finding-decide
        api-finding-drop api-finding-evidence api-finding-reclass api-owner-item-detail
        api-owner-item-decide""",
    "impairment": """impairment impairment_notice impairment_watch impairment_end
        api-impairment-detail api-impairment-end api-impairment-notices api-impairment-proofs
        api-impairment-watches""",
    "result": "api-result-detail",
    "held": "held_entry api-held-detail api-held-take api-held-leave-out",
    "tablet": "tablet_revoke api-tablet-revoke",
    "reading": "api-reading-detail",
    "occurrence": "api-occurrence-detail",
    "question": "api-question-detail",
    "follow_up": "follow_up_settle api-follow-up-detail api-follow-up-settle",
    "notice": """notice_passed_on notice_came_back api-notice-detail api-notice-came-back
        api-notice-passed-on""",
    "response_time": "api-response-time-detail",
    "ladder": "api-ladder-detail",
    "overdue_class": "api-overdue-class-detail",
    "holiday": "api-holiday-detail",
    "plan": """plan plan_progress plan_cancel plan_day plan_map plan_move plan_lock plan_publish
        plan_copy plan_again plan_choice api-plan-detail api-plan-again api-plan-cancel
        api-plan-move api-plan-told api-plan-publish""",
    "rule": "rule rule_end rule_new activity api-rule-detail api-rule-end",
    "regime": "regime_end api-regime-detail api-regime-end",
    "due_setting": "api-due-setting-detail",
    "off_limits": "off_limits_end api-off-limits-detail api-off-limits-withdraw",
    "turn_order": "api-turn-order-detail",
    "rest": """rest_back rest_withdraw api-suspension-detail api-suspension-resume
        api-suspension-withdraw""",
    "stop": "api-stop-detail",
    "valve_run": """api-valve-run-detail api-valve-run-act api-valve-run-observe
        api-valve-run-diagnose""",
    "exercise": """practice_bench practice_withdraw api-practice-exercise-detail
        api-practice-exercise-runs""",
    "practice_run": """practice_run practice_release api-practice-run-detail
        api-practice-run-release""",
    "job": "job_restart",
    "export": """export_file export_cancel export_retry api-export-detail api-export-cancel
        api-export-file api-export-retry""",
    "feed": "calendar_revoke api-calendar-detail",
    "owner_feed": "owner_calendar_revoke",
    "owner_export": "owner_export_file owner_export_cancel owner_export_retry",
    "member": "member_answers api-member-detail",
    "code": "verify",
}
TABLE = {name: key for key, names in WITH_ID.items() for name in names.split()}
OWNERS = re.compile(r"owner|portfolio$|decisions|^decide$|report_file")
SECOND = {"on": "2026-11-25", "number": "0"}


def routes():
    """Yield name and pattern of every route but the sign-in library's own."""

    def walk(patterns, before):
        for one in patterns:
            path = before + str(one.pattern)
            if isinstance(one, URLResolver):
                if not path.startswith("account/"):
                    yield from walk(one.url_patterns, path)
            elif isinstance(one, URLPattern):
                yield one.name, path

    return dict(walk(get_resolver().url_patterns, ""))


@pytest.fixture
def their_rows(theirs):
    """One row of theirs for each key of the table, each with the canary's words."""
    with time_machine.travel(NOW, tick=False), theirs.scope():
        type(theirs.building).objects.filter(pk=theirs.building.pk).update(name=CANARY)
        theirs.building.refresh_from_db()
        visit = Visit.objects.create(
            building=theirs.building,
            technician=theirs.people["technician"],
            planned_on=date(2026, 11, 25),
            title=CANARY,
        )
        line = VisitLine.objects.create(
            visit=visit,
            subject_kind="riser",
            subject_id=theirs.wet_riser.pk,
            activity="main-drain-annual",
        )
        subject = {"kind": "riser", "id": str(theirs.wet_riser.pk)}
        common = {"subject": subject, "activity": "main-drain-annual"}
        reading = {
            "name": "static_pressure",
            "typed": "82 psi",
            "value": {"value": "82", "unit": "psi"},
        }
        record.append(
            [
                record.visit_entry(visit, "visit.open", {"at": NOW.isoformat()}, by=None),
                record.visit_entry(visit, "reading.add", {**common, **reading}, by=None),
                record.visit_entry(visit, "item.set", {**common, "answer": "pass"}, by=None),
            ],
            via="page",
            by=theirs.technician,
        )
        finding = findings.add(
            theirs.building,
            subject=("riser", theirs.wet_riser.pk),
            grade="impairment",
            text=CANARY,
            by=theirs.technician,
            visit=visit,
        )
        group = theirs.devices["wet_sprinklers"]
        sample = sampling.send(
            theirs.building,
            sampling.Sending(
                activity="sprinkler-test-standard-50y",
                groups=[group],
                pieces=[sampling.Piece(f"T{n}", group.pk) for n in range(4)],
                taken_on=NOW.date(),
                taken_by=CANARY,
                sent_on=NOW.date(),
                laboratory=CANARY,
            ),
            by=theirs.technician,
        )
        due.derive(theirs.building)
        plan = Plan.objects.create(
            from_on=date(2026, 11, 25), to_on=date(2026, 12, 4), state="ready", made_at=NOW
        )
        stop = Stop.objects.create(
            plan=plan,
            visit=visit,
            technician=theirs.people["technician"],
            on=date(2026, 11, 25),
            position=0,
            arrival_at=NOW,
            start_at=NOW,
            end_at=NOW,
        )
        file = StoredFile.objects.create(
            sha256="0" * 64, size=1, media_type="image/jpeg", name=CANARY, made_at=NOW
        )
        photo = Photo.objects.create(
            visit=visit, finding_id=finding.pk, blob_sha256="0" * 64, file=file, taken_at=NOW
        )
        sketch = Sketch.objects.create(
            building=theirs.building, kind="sketch", caption=CANARY, position=1,
            came_sha256="0" * 64, file=file, small=file, width_px=4, height_px=3, added_at=NOW,
        )  # fmt: skip
        report = Report.objects.create(
            visit=visit, version=1, facts="{}", sha256="0" * 64, code="x-y", sealed_at=NOW, pdf=file
        )
        tablet = Tablet.objects.create(member=theirs.technician, label=CANARY, registered_at=NOW)
        held = Quarantined.objects.create(
            event_id=uuid4(), tablet=tablet.pk, text="{}", reason=CANARY, received_at=NOW
        )
        run = valve_runs.create({"system_type": "dry", "title": CANARY}, by=theirs.technician)
        job = outbox.add("plan.search", "of-theirs", plan=plan.pk)
        OutboxMessage.objects.filter(pk=job.pk).update(state="parked")
        export = Export.objects.create(
            kind="due",
            format="csv",
            units="us",
            filters={"district": CANARY},
            by=theirs.manager,
            made_at=NOW,
        )
        owner_export = OwnerExport.objects.create(
            kind="owner_items",
            format="csv",
            units="us",
            by=theirs.access,
            owner=theirs.owner,
            made_at=NOW,
        )
        feeds = [
            CalendarFeed.objects.create(kind=kind, label=CANARY, token_hash=kind, made_at=NOW, **by)
            for kind, by in (
                ("building", {"membership": theirs.manager}),
                ("owner", {"owner_access": theirs.access}),
            )
        ]
        question = Question.objects.create(
            building=theirs.building,
            subject_kind="building",
            subject_id=theirs.building.pk,
            attribute="x",
            asked_as=CANARY,
        )
        return {
            "building": theirs.building.pk,
            "system": theirs.wet.pk,
            "riser": theirs.wet_riser.pk,
            "device": theirs.devices["wet_flow"].pk,
            "person": theirs.people["technician"].pk,
            "licence": theirs.people["technician"].licences.first().pk,
            "sample": sample.pk,
            "contractor": theirs.contractor.pk,
            "visit": visit.pk,
            "line": line.pk,
            "photo": photo.pk,
            "sketch": sketch.pk,
            "report": report.pk,
            "finding": finding.pk,
            "impairment": Impairment.objects.get().pk,
            "result": Result.objects.get().pk,
            "reading": Reading.objects.get().id,
            "occurrence": Occurrence.objects.first().pk,
            "question": question.pk,
            "follow_up": FollowUp.objects.first().pk,
            **rules_of(theirs),
            **terms_of(theirs),
            **supply_of(theirs),
            "plan": plan.pk,
            "stop": stop.pk,
            "held": held.pk,
            "tablet": tablet.pk,
            "job": job.pk,
            "valve_run": run.pk,
            **practice_of(theirs),
            "export": export.pk,
            "owner_export": owner_export.pk,
            "member": theirs.office.pk,
            "feed": feeds[0].pk,
            "owner_feed": feeds[1].pk,
            "code": uuid4(),
        }


def rules_of(theirs):
    """One message and one rule of each kind of theirs, in whose words the canary stands."""
    law = {"basis": "law", "source": CANARY, "valid_from": date(2026, 1, 1), "by": theirs.manager}
    place = {"jurisdiction": theirs.jurisdiction}
    notice = notices.send("n", kind="test", to="a@b.example", subject=CANARY, body=CANARY)
    time = responses.set_time(grade="critical", days=10, **place, **law)
    steps = [{"after": 0, "every": 0, "tell": ["manager"]}]
    ladder = ladders.set_ladder(grade="critical", steps=steps, **law)
    overdue = legal.set_overdue_class(what="P5Y", grade="critical", **place, **law)
    holiday = responses.add_holiday(
        theirs.jurisdiction, date(2026, 12, 25), CANARY, by=theirs.manager
    )
    work = rules.OwnWork(
        code="own-look", task=CANARY, kind="inspection", subjects=["riser"], frequency="P1M"
    )
    rule = rules.add_own(work, source=CANARY, from_on=date(2026, 1, 1), by=theirs.manager)
    return {
        "rule": rule.pk,
        "notice": notice.pk,
        "response_time": time.pk,
        "ladder": ladder.pk,
        "overdue_class": overdue.pk,
        "holiday": holiday.pk,
        "jurisdiction": theirs.jurisdiction.pk,
    }


def practice_of(theirs):
    """An exercise of theirs, and a run of it that was handed in."""
    exercise = practising.set_exercise(
        system_type="dry", task="trip_test", note=CANARY, by=theirs.trainer
    )
    run = practising.hand_in(exercise, acts=["settle"], noted={}, claim="", by=theirs.technician)
    return {"exercise": exercise.pk, "practice_run": run.pk}


def terms_of(theirs):
    """A regime, a setting of due days, a past leave to rest and days kept free of theirs."""
    begun, by = date(2026, 1, 1), theirs.manager
    regime = terms.ask_for(
        theirs.building, "joint_commission", authority=CANARY, valid_from=begun, by=by
    )
    rest = terms.suspend(
        theirs.wet, from_on=begun, back_on=date(2026, 2, 1), authority=CANARY, reason=CANARY, by=by
    )
    setting = terms.time_by(valid_from=begun, by=by)
    off = off_limits.keep(
        work="any",
        from_on=begun,
        until_on=date(2026, 2, 1),
        authority=CANARY,
        reason=CANARY,
        building=theirs.building,
        by=by,
    )
    turn_order = TurnOrder.objects.create(
        building=theirs.building, activity=CANARY, valid_from=begun, recorded_at=NOW
    )
    return {
        "turn_order": turn_order.pk,
        "regime": regime.pk,
        "due_setting": setting.pk,
        "rest": rest.matter,
        "off_limits": off.pk,
    }


def supply_of(theirs):
    """A supply point of theirs with a flow test and what it leaves a system."""
    by, on = theirs.manager, date(2026, 1, 1)
    point = supplies.add_point("W-1", CANARY, by=by)
    placard = {"base_flow": 700, "base_pressure": 52}
    supplies.write_placard(theirs.wet, placard, from_on=on, by=by)
    supplies.connect(point, theirs.wet, from_on=on, by=by)
    read = flow_readings.Read(on, "80 psi", "60 psi", "1000 gpm", note=CANARY)
    test = supplies.record_test(point, read, by=by)
    return {
        "supply_point": point.pk,
        "flow_test": test.pk,
        "margin": test.margins.get().pk,
    }


def test_every_route_has_a_row_in_the_table():
    assert set(routes()) == {*OPEN, *WITHOUT_ID, *TABLE}


def filled(pattern, key):
    """Return the address of a route with this id, and nowhere's where it wants a second one."""
    pattern = pattern.replace("^", "").replace("$", "")
    parts = re.split(r"<(?:\w+:)?(\w+)>|\(\?P<(\w+)>(?:[^()]|\([^)]*\))*\)", pattern)
    path, first = "/" + parts[0], True
    for plain, named, text in zip(parts[1::3], parts[2::3], parts[3::3], strict=True):
        name = plain or named
        path += SECOND.get(name) or (str(key) if first else "00000000-0000-7000-8000-000000000000")
        first = first and name in SECOND
        path += text
    return path


def plain(answer, key):
    """Return status and body without what is new in every answer."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    text = body.decode("utf-8", "replace").replace(str(key), "ID").replace(UUID(str(key)).hex, "ID")
    return answer.status_code, re.sub(r'"x-csrftoken": "[^"]*"', "", text)


def their_digest(theirs):
    with theirs.scope():
        models = (Visit, Finding, Impairment, Result, Plan, Stop, Occurrence, Event, FollowUp)
        counted = [list(m.objects.order_by("id").values_list()) for m in models]
    jobs = OutboxMessage.objects.filter(contractor=theirs.contractor).order_by("pk")
    return counted, list(jobs.values_list("pk", "state"))


def test_a_strangers_id_answers_as_an_id_that_stands_nowhere(
    ours, theirs, their_rows, as_manager, as_owner, api
):
    tokens = {"owner": api(ours.access), "member": api(ours.manager)}
    before, probes = their_digest(theirs), 0
    for name, pattern in routes().items():
        if name not in TABLE:
            continue
        key, nowhere = their_rows[TABLE[name]], uuid4()
        whose = "owner" if OWNERS.search(name) else "member"
        page = as_owner if whose == "owner" else as_manager
        client = tokens[whose] if name.startswith("api-") else page
        for method in ("get", "post", "patch", "put", "delete"):
            extra = {} if method == "get" else {"HTTP_IDEMPOTENCY_KEY": f"{name}-{method}"}
            mine = plain(getattr(client, method)(filled(pattern, key), **extra), key)
            extra = {} if method == "get" else {"HTTP_IDEMPOTENCY_KEY": f"{name}-{method}-2"}
            none = plain(getattr(client, method)(filled(pattern, nowhere), **extra), nowhere)
            probes += 1
            assert mine == none, (name, method)
            assert mine[0] in (400, 403, 404, 405), (name, method, mine[0])
            assert method != "get" or mine[0] in (404, 405), (name, mine[0])
            assert CANARY not in mine[1], (name, method)
    assert probes > 5 * 90
    assert their_digest(theirs) == before


def test_no_list_shows_anothers_words(ours, theirs, their_rows, as_manager, as_owner, api):
    tokens = {"owner": api(ours.access), "member": api(ours.manager)}
    ids = {str(key) for key in their_rows.values()}
    for name, pattern in routes().items():
        if name not in WITHOUT_ID:
            continue
        whose = "owner" if OWNERS.search(name) else "member"
        page = as_owner if whose == "owner" else as_manager
        client = tokens[whose] if name.startswith("api-") else page
        answer = client.get(filled(pattern, ""))
        assert answer.status_code < 500, name
        text = plain(answer, uuid4())[1]
        assert CANARY not in text, name
        assert not {key for key in ids if key in text}, name


def test_without_a_sign_in_nothing_opens(client, theirs, their_rows):
    for name, pattern in routes().items():
        if name in OPEN or name == "verify":
            continue
        key = their_rows[TABLE[name]] if name in TABLE else ""
        answer = client.get(filled(pattern, key))
        assert answer.status_code in (302, 401, 403, 405), (name, answer.status_code)
