"""Every route of the service: whose row its address names, and how the address is filled in.

A route without a row in these tables fails the run (`test_doors.py`).
"""

import re

from django.urls import URLPattern, URLResolver, get_resolver

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
    "system": """system system_edit placard_new system_history system_years system_picture
        system_picture_point
        system_tested api-system-detail api-system-trends api-system-trend-picture""",
    "sketch": """sketch_edit sketch_withdraw sketch_picture api-sketch-detail api-sketch-withdraw
        api-sketch-picture""",
    "riser": """at riser riser_edit riser_history riser_years riser_picture riser_picture_point
        api-riser-detail api-riser-trends api-riser-trend-picture""",
    "device": """device device_tested device_edit device_history device_years device_picture
        device_picture_point
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
_SECOND = {"on": "2026-11-25", "number": "0"}


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


def filled(pattern, key):
    """Return the address of a route with this id, and nowhere's where it wants a second one."""
    pattern = pattern.replace("^", "").replace("$", "")
    parts = re.split(r"<(?:\w+:)?(\w+)>|\(\?P<(\w+)>(?:[^()]|\([^)]*\))*\)", pattern)
    path, first = "/" + parts[0], True
    for plain, named, text in zip(parts[1::3], parts[2::3], parts[3::3], strict=True):
        name = plain or named
        path += _SECOND.get(name) or (str(key) if first else "00000000-0000-7000-8000-000000000000")
        first = first and name in _SECOND
        path += text
    return path
