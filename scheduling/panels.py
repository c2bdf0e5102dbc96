"""What the scheduling app shows on the pages of buildings: standing, programme, follow-ups."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings import panels
from buildings.models import Building
from buildings.panels import Mark, Panel
from inspections.models import Finding
from scheduling import bundle, sample_views, standing, term_views
from scheduling import stands as stands_on
from scheduling.asking import asked_most
from scheduling.models import FollowUp, Occurrence, Question, Standing, StandingInterval

YEAR = 364
STRIP_WIDTH = 1040
ROW_HEIGHT = 30
LABEL = 210
MOST_REASONS = 6
MOST_ASKED = 10


def register() -> None:
    """Put the panels on the pages of buildings."""
    panels.sentences.append(sentence)
    panels.building_panels += [programme, sample_views.panel, follow_ups, questions]
    panels.building_panels.append(term_views.panel)
    panels.standing_marks.append(marks)
    panels.standing_filters.append(narrowed)
    panels.item_marks.append(item_marks)
    panels.import_panels.append(asked_first)


def sentence(request: Any, building: Building) -> Panel | None:
    """Return how a building stands today, with its reasons."""
    today = timezone.localdate(timezone=building.zone)
    stands = standing.standing(building, today)
    grades = [r.get("grade") for r in stands.reasons if r.get("grade") in standing.GRADE_ORDER]
    context = {
        "stands": stands,
        "worst": next((g for g in ("critical", "noncritical") if g in grades), ""),
        "reasons": [r for r in stands.reasons if "more" not in r][:MOST_REASONS],
        "more": max(0, _count(stands.reasons) - MOST_REASONS),
        "scope": stands.scope,
    }
    return Panel("standing", _("Standing"), "scheduling/_standing.html", context)


def _count(reasons: Sequence[Mapping[str, Any]]) -> int:
    return sum(int(r.get("more", 1)) for r in reasons)


def programme(request: Any, building: Building) -> Panel | None:
    """Return a building's programme as a strip of a year: a row a frequency."""
    today = timezone.localdate(timezone=building.zone)
    rows = list(Occurrence.objects.filter(building=building).select_related("visit", "system"))
    if not rows:
        return None
    first = today.replace(day=1) - timedelta(days=1)
    first = first.replace(day=1)
    by_frequency: dict[tuple[str, bool], list[Occurrence]] = defaultdict(list)
    for row in rows:
        by_frequency[row.frequency, row.by_owner].append(row)
    ordered = sorted(by_frequency.items(), key=lambda p: (p[0][1], bundle.months_of(p[0][0])))
    strips = [
        _strip(frequency, by_owner, found, place, first, today)
        for place, ((frequency, by_owner), found) in enumerate(ordered)
    ]
    late = sum(1 for row in rows if row.latest_on < today and not row.by_owner)
    context = {
        "strips": strips,
        "months": list(_months(first)),
        "height": 24 + len(strips) * ROW_HEIGHT,
        "width": STRIP_WIDTH,
        "now": _x(first, today),
        "late": late,
        "unknown": sum(1 for row in rows if not row.known),
        "total": len(rows),
    }
    link = f"{reverse('due')}?building={building.pk}&who=all"
    return Panel(
        "programme",
        _("Programme"),
        "scheduling/_programme.html",
        context,
        link=link,
        link_words=_("What falls due here"),
    )


def _x(first: date, day: date) -> float:
    place = min(max((day - first).days, 0), YEAR) / YEAR
    return round(LABEL + place * (STRIP_WIDTH - LABEL), 1)


def _strip(
    frequency: str, by_owner: bool, rows: Sequence[Occurrence], place: int, first: date, today: date
) -> dict[str, Any]:
    """Return one row: its windows, each drawn once however many items share it."""
    counted = Counter((row.earliest_on or row.due_on, row.due_on, row.latest_on) for row in rows)
    last = first + timedelta(days=YEAR)
    bars = [
        {
            "x": _x(first, earliest),
            "end": _x(first, latest),
            "due": _x(first, due) if first <= due <= last else None,
            "late": latest < today,
            "count": count,
        }
        for (earliest, due, latest), count in sorted(counted.items())
        if earliest <= last
    ]
    return {
        "words": bundle.frequency_words(frequency),
        "by_owner": by_owner,
        "count": len(rows),
        "bars": bars,
        "y": 24 + place * ROW_HEIGHT,
        "next": min(row.due_on for row in rows),
    }


def _months(first: date) -> Sequence[tuple[date, float]]:
    found, day = [], first
    while (day - first).days < YEAR:
        found.append((day, _x(first, day)))
        day = (day + timedelta(days=32)).replace(day=1)
    return found


def follow_ups(request: Any, building: Building) -> Panel | None:
    """Return what open findings and impairments call for at a building."""
    rows = FollowUp.objects.filter(building=building).exclude(state=FollowUp.State.DONE)
    found = list(rows.select_related("finding", "impairment").order_by("due_on"))
    if not found:
        return None
    context = {"rows": found, "today": timezone.localdate(timezone=building.zone)}
    return Panel("follow-ups", _("Follow-ups"), "scheduling/_follow_ups.html", context, aside=True)


def questions(request: Any, building: Building) -> Panel | None:
    """Return the facts that rules wait for at a building, the most deciding first."""
    rows = list(Question.objects.filter(building=building))
    if not rows:
        return None
    rows.sort(key=lambda q: (-len(q.decides), q.asked_as))
    context = {"rows": [(q, f"{q.subject_kind}_edit") for q in rows[:8]], "count": len(rows)}
    return Panel("questions", _("Not told yet"), "scheduling/_questions.html", context, aside=True)


def asked_first(request: Any) -> Panel | None:
    """Return the facts to bring in first: those that decide most over all buildings."""
    found = asked_most(MOST_ASKED)
    if not found:
        return None
    return Panel("asked", _("Tell these first"), "scheduling/_asked.html", {"rows": found})


def marks(buildings: Sequence[Building]) -> dict[UUID, Mark]:
    """Return how buildings stand today."""
    found = {}
    for building_id, stands in stands_on.on_day(buildings).items():
        grades = {reason.get("grade") for reason in stands.reasons}
        worst = next((g for g in ("critical", "noncritical") if g in grades), "")
        found[building_id] = Mark(str(stands.word), stands.due_by, worst)
    return found


def narrowed(rows: QuerySet[Building], word: str) -> QuerySet[Building]:
    """Return the buildings that stand so now."""
    if word not in Standing.values:
        return rows
    now = timezone.now()
    running = StandingInterval.objects.filter(
        Q(to_at=None) | Q(to_at__gt=now), known_to=None, from_at__lte=now
    )
    if word == Standing.NOT_WITH_US:
        return rows.exclude(pk__in=running.values("building"))
    return rows.filter(pk__in=running.filter(word=word).values("building"))


def item_marks(building: Building) -> dict[UUID, Mark]:
    """Return what is overdue or found wrong at systems, risers and devices of a building."""
    today = timezone.localdate(timezone=building.zone)
    found: dict[UUID, Mark] = {}
    late = Occurrence.objects.filter(
        building=building, by_owner=False, latest_on__lt=today
    ).order_by("-latest_on")
    for subject_id, system_id, latest in late.values_list("subject_id", "system_id", "latest_on"):
        for key in (subject_id, system_id):
            if key is not None:
                found[key] = Mark("overdue", latest)
    wrong = Finding.objects.filter(building=building, state=Finding.State.OPEN)
    order = [Finding.Class.NONCRITICAL, Finding.Class.CRITICAL, Finding.Class.IMPAIRMENT]
    for finding in sorted(
        (one for one in wrong if one.grade in order), key=lambda one: order.index(one.grade)
    ):
        state = "impaired" if finding.grade == Finding.Class.IMPAIRMENT else "finding_open"
        worst = "" if state == "impaired" else finding.grade
        for key in (finding.subject_id, finding.system_id):
            if key is not None:
                found[key] = Mark(state, worst=worst)
    return found
