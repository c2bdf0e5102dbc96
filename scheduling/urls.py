"""Pages of the scheduling app."""

from datetime import date

from django.urls import path, register_converter

from scheduling import due_views, followup_views, owner_views, plan_views, today_views


class DayConverter:
    """A day as ISO 8601 in an address."""

    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> date:
        """Read a day; one that is none makes the address lead nowhere."""
        return date.fromisoformat(value)

    def to_url(self, value: date | str) -> str:
        """Write a day."""
        return str(value)


register_converter(DayConverter, "day")

urlpatterns = [
    path("today/", today_views.today_page, name="today"),
    path("outbox/", today_views.outbox, name="outbox"),
    path("outbox/<uuid:job_id>/restart/", today_views.job_restart, name="job_restart"),
    path("due/", due_views.due, name="due"),
    path("due/at/<uuid:pk>/", due_views.due_at, name="due_at"),
    path("due/export.csv", due_views.due_export, name="due_export"),
    path("due/visits/", due_views.due_visits, name="due_visits"),
    path("follow-ups/", followup_views.follow_ups, name="follow_ups"),
    path("follow-ups/redate/", followup_views.follow_ups_redate, name="follow_ups_redate"),
    path(
        "follow-ups/<uuid:follow_up_id>/settle/",
        followup_views.follow_up_settle,
        name="follow_up_settle",
    ),
    path("follow-ups/times/", followup_views.response_times, name="response_times"),
    path("follow-ups/times/set/", followup_views.response_time_set, name="response_time_set"),
    path("follow-ups/outages/set/", followup_views.outage_times_set, name="outage_times_set"),
    path("follow-ups/overdue/set/", followup_views.overdue_class_set, name="overdue_class_set"),
    path("follow-ups/holidays/set/", followup_views.holiday_set, name="holiday_set"),
    path("follow-ups/hours/set/", followup_views.notice_hours_set, name="notice_hours_set"),
    path("follow-ups/ladders/set/", followup_views.ladder_set, name="ladder_set"),
    path("mail/", followup_views.mail_choice, name="mail_choice"),
    path("portfolio/mail/", followup_views.owner_mail_choice, name="owner_mail_choice"),
    path(
        "outbox/<uuid:notice_id>/passed-on/",
        followup_views.notice_passed_on,
        name="notice_passed_on",
    ),
    path(
        "outbox/<uuid:notice_id>/came-back/",
        followup_views.notice_came_back,
        name="notice_came_back",
    ),
    path("plans/", plan_views.plan_list, name="plans"),
    path("plans/<uuid:plan_id>/", plan_views.plan, name="plan"),
    path("plans/<uuid:plan_id>/progress/", plan_views.plan_progress, name="plan_progress"),
    path("plans/<uuid:plan_id>/cancel/", plan_views.plan_cancel, name="plan_cancel"),
    path("plans/<uuid:plan_id>/<day:on>/", plan_views.plan_day, name="plan_day"),
    path("plans/<uuid:plan_id>/<day:on>/map.json", plan_views.plan_map, name="plan_map"),
    path("plans/<uuid:plan_id>/move/", plan_views.plan_move, name="plan_move"),
    path("plans/<uuid:plan_id>/visits/<uuid:visit_id>/", plan_views.plan_lock, name="plan_lock"),
    path("plans/<uuid:plan_id>/publish/", plan_views.plan_publish, name="plan_publish"),
    path("plans/<uuid:plan_id>/copy/", plan_views.plan_copy, name="plan_copy"),
    path("plans/<uuid:plan_id>/again/", plan_views.plan_again, name="plan_again"),
    path("plans/<uuid:plan_id>/choices/<int:number>/", plan_views.plan_choice, name="plan_choice"),
    path("portfolio/", owner_views.portfolio, name="portfolio"),
    path("portfolio/<uuid:building_id>/", owner_views.building, name="owner_building"),
    path("decisions/", owner_views.decisions, name="decisions"),
    path("decisions/<uuid:source_id>/", owner_views.decide, name="decide"),
    path("proof/", owner_views.owner_reports, name="owner_reports"),
    path("proof/<uuid:report_id>/", owner_views.report_file, name="report_file"),
]
