"""Pages of the inspections app."""

from django.urls import include, path

from inspections import (
    calculator_views,
    drawn_views,
    finding_views,
    held_views,
    label_views,
    paper_outage_views,
    paper_step_views,
    paper_views,
    practice_views,
    rule_views,
    visit_views,
)

urlpatterns = [
    path("", include("inspections.past_urls")),
    path("", include("inspections.supply_urls")),
    path("visits/", visit_views.visit_list, name="visits"),
    path("visits.csv", visit_views.visit_export, name="visits_export"),
    path("visits/new/", visit_views.visit_new, name="visit_new"),
    path("visits/<uuid:visit_id>/", visit_views.visit, name="visit"),
    path("visits/<uuid:visit_id>/edit/", visit_views.visit_edit, name="visit_edit"),
    path("visits/<uuid:visit_id>/cancel/", visit_views.visit_cancel, name="visit_cancel"),
    path("visits/<uuid:visit_id>/review/", visit_views.visit_review, name="visit_review"),
    path("visits/<uuid:visit_id>/photo/", visit_views.visit_photo, name="visit_photo"),
    path(
        "visits/<uuid:visit_id>/settle/<uuid:entry_id>/",
        visit_views.visit_settle,
        name="visit_settle",
    ),
    path(
        "visits/<uuid:visit_id>/tests/<uuid:item_id>.svg",
        drawn_views.visit_test_picture,
        name="visit_test_picture",
    ),
    path("visits/<uuid:visit_id>/reports/", visit_views.visit_reports, name="visit_reports"),
    path(
        "visits/<uuid:visit_id>/entries/<uuid:entry_id>/",
        visit_views.visit_amend,
        name="visit_amend",
    ),
    path("visits/blanks/", paper_views.visit_blanks, name="visit_blanks"),
    path("visits/<uuid:visit_id>/blank/", paper_views.visit_blank, name="visit_blank"),
    path("visits/<uuid:visit_id>/paper/", paper_views.visit_paper, name="visit_paper"),
    path("visits/<uuid:visit_id>/paper/arrival/", paper_views.paper_arrival, name="paper_arrival"),
    path("visits/<uuid:visit_id>/paper/station/", paper_views.paper_station, name="paper_station"),
    path("visits/<uuid:visit_id>/paper/note/", paper_views.paper_note, name="paper_note"),
    path("visits/<uuid:visit_id>/paper/shut/", paper_outage_views.paper_shut, name="paper_shut"),
    path("visits/<uuid:visit_id>/paper/leave/", paper_views.paper_leave, name="paper_leave"),
    path("visits/<uuid:visit_id>/paper/hand-in/", paper_views.paper_hand_in, name="paper_hand_in"),
    path(
        "visits/<uuid:visit_id>/paper/out/<uuid:outage_id>/<slug:step>/",
        paper_outage_views.paper_outage,
        name="paper_outage",
    ),
    path(
        "visits/<uuid:visit_id>/paper/steps/<uuid:device_id>/<slug:task>/",
        paper_step_views.paper_steps,
        name="paper_steps",
    ),
    path(
        "visits/<uuid:visit_id>/paper/steps/<uuid:device_id>/<slug:task>/<slug:code>/",
        paper_step_views.paper_step,
        name="paper_step",
    ),
    path("visits/<uuid:visit_id>/paper/finding/", paper_views.paper_finding, name="paper_finding"),
    path(
        "visits/<uuid:visit_id>/paper/end-state/<uuid:device_id>/",
        paper_views.paper_end_state,
        name="paper_end_state",
    ),
    path("paper/<uuid:line_id>/", paper_views.paper_line, name="paper_line"),
    path("photos/<uuid:photo_id>/", visit_views.photo, name="photo"),
    path("reports/<uuid:report_id>/pdf/", visit_views.report_pdf, name="report_pdf"),
    path("reports/<uuid:report_id>/json/", visit_views.report_json, name="report_json"),
    path("findings/", finding_views.finding_list, name="findings"),
    path("findings.csv", finding_views.finding_export, name="findings_export"),
    path("findings/<uuid:finding_id>/", finding_views.finding, name="finding"),
    path(
        "findings/<uuid:finding_id>/class/", finding_views.finding_reclass, name="finding_reclass"
    ),
    path("findings/<uuid:finding_id>/accept/", finding_views.finding_accept, name="finding_accept"),
    path("findings/<uuid:finding_id>/drop/", finding_views.finding_drop, name="finding_drop"),
    path(
        "findings/<uuid:finding_id>/decision/", finding_views.finding_decide, name="finding_decide"
    ),
    path("findings/<uuid:finding_id>/close/", finding_views.finding_close, name="finding_close"),
    path(
        "buildings/<uuid:building_id>/findings/new/", finding_views.finding_new, name="finding_new"
    ),
    path("at/<uuid:item_id>/", label_views.at, name="at"),
    path("buildings/<uuid:building_id>/labels/", label_views.label_sheets, name="labels"),
    path("rules/", rule_views.rule_list, name="rules"),
    path("rules/new/<slug:what>/", rule_views.rule_new, name="rule_new"),
    path("rules/<uuid:rule_id>/", rule_views.rule, name="rule"),
    path("rules/<uuid:rule_id>/end/", rule_views.rule_end, name="rule_end"),
    path("activities/<slug:activity_id>/", rule_views.activity, name="activity"),
    path("calculations/", calculator_views.calculation_list, name="calculations"),
    path("calculations/<slug:name>/", calculator_views.calculation, name="calculation"),
    path("practice/", practice_views.practice, name="practice"),
    path("practice/worker.js", practice_views.worker, name="practice_worker"),
    path("practice/new/", practice_views.exercise_new, name="practice_new"),
    path("practice/<uuid:exercise_id>/", practice_views.bench, name="practice_bench"),
    path(
        "practice/<uuid:exercise_id>/withdraw/",
        practice_views.exercise_withdraw,
        name="practice_withdraw",
    ),
    path("practice/runs/<uuid:run_id>/", practice_views.run, name="practice_run"),
    path(
        "practice/runs/<uuid:run_id>/release/", practice_views.run_release, name="practice_release"
    ),
    path("tablets/", held_views.tablet_list, name="tablets"),
    path("tablets/file/", held_views.tablet_bundle, name="tablet_bundle"),
    path("tablets/<uuid:tablet_id>/out/", held_views.tablet_revoke, name="tablet_revoke"),
    path("tablets/entries/<uuid:row_id>/", held_views.held_entry, name="held_entry"),
    path("impairments/", finding_views.impairment_list, name="impairments"),
    path("impairments/<uuid:impairment_id>/", finding_views.impairment, name="impairment"),
    path(
        "impairments/<uuid:impairment_id>/notice/",
        finding_views.impairment_notice,
        name="impairment_notice",
    ),
    path(
        "impairments/<uuid:impairment_id>/watch/",
        finding_views.impairment_watch,
        name="impairment_watch",
    ),
    path(
        "impairments/<uuid:impairment_id>/end/",
        finding_views.impairment_end,
        name="impairment_end",
    ),
    path(
        "buildings/<uuid:building_id>/impairments/new/",
        finding_views.impairment_new,
        name="impairment_new",
    ),
]
