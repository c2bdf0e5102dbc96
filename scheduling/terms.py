"""What a building's contract and authority say of time, loaded for many buildings at once.

Also the only door by which regimes, settings of due days, and leave to rest are written.
"""

import re
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import OuterRef, Q, QuerySet, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings import inventory as stock
from buildings.models import (
    Agreement,
    Building,
    Engagement,
    OffLimits,
    Regime,
    Revision,
    Suspension,
    Timing,
    TurnOrder,
)
from contractors import audit, outbox
from contractors.models import Membership
from contractors.refusal import FieldRefused
from inspections.catalogue_files import catalogue
from inspections.models import Impairment
from scheduling import off_limits
from scheduling.models import Holiday
from scheduling.recurrence import STANDARD, Anchoring, Policy
from scheduling.seasons import NORTHERN, Frost
from scheduling.windows import KeptFree, Pause

_DAY = timedelta(days=1)
_MONTH_DAY = re.compile(r"(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
LAST_WEEKDAY = 6
EARLIEST = date(1990, 1, 1)
LATEST = date(2100, 12, 31)


@dataclass(frozen=True, slots=True)
class Overlay:
    """A regime that holds beside the adopted standard."""

    regime: str
    edition: int | None
    authority: str


@dataclass(frozen=True, slots=True)
class Terms:
    """What holds at a building on a day.

    Attributes
    ----------
    engaged
        Whether an owner engages the contractor on that day, or nobody wrote down who does.
    frost
        The settings by which seasons are placed.
    pauses
        Leave to rest, by what rests: an item's id or the building's own. Past and present.
    impaired
        What is out of service on that day without leave, by the item's id: its extent in words.
    off_limits
        Days on which work is not wanted, past and to come.
    turn_orders
        Who goes first where items take turns, by the day each holds from.
    engagements, impairments
        All that are known, past ones too, engagements by their first day.
    """

    engaged: bool = True
    agreement: Agreement | None = None
    policy: Policy = STANDARD
    frost: Frost = NORTHERN
    overlays: tuple[Overlay, ...] = ()
    pauses: Mapping[UUID, tuple[Pause, ...]] = field(default_factory=dict)
    impaired: Mapping[UUID, str] = field(default_factory=dict)
    off_limits: tuple[OffLimits, ...] = ()
    turn_orders: tuple[TurnOrder, ...] = ()
    engagements: tuple[Engagement, ...] = ()
    impairments: tuple[Impairment, ...] = ()

    def kept_free(self, frequency: str, *, flows: bool) -> tuple[KeptFree, ...]:
        """Return the days on which work that is ours to do is not wanted.

        Parameters
        ----------
        flows
            Whether it flows water.
        """
        if not self.off_limits or self.does(frequency):
            return ()
        return off_limits.of_work(self.off_limits, flows=flows)

    def does(self, frequency: str) -> bool:
        """Say whether the owner does what is due at this interval."""
        return bool(self.agreement and frequency in self.agreement.owner_does)


def terms_of(building: Building, on: date, known_at: datetime | None = None) -> Terms:
    """Return what holds at one building on a day, as known at a moment."""
    return terms([building], {building.pk: on}, known_at)[building.pk]


# Tables in which most buildings have nothing.
SELDOM = (Regime, Suspension, Impairment, TurnOrder)


def terms(
    buildings: Sequence[Building],
    days: Mapping[UUID, date],
    known_at: datetime | None = None,
    filled: Container[Any] = SELDOM,
) -> dict[UUID, Terms]:
    """Return what holds at many buildings, each on its day, in a constant number of queries.

    Parameters
    ----------
    filled
        Which of the tables `SELDOM` hold anything of these buildings; the others are not asked.
    """

    def at(model: Any) -> Sequence[Building]:
        return buildings if model in filled else ()

    agreements = _by_building(Agreement, buildings, known_at)
    regimes = _by_building(Regime, at(Regime), known_at)
    timings = _known(Timing.objects.order_by("valid_from", "recorded_at"), known_at)
    pauses = _pauses(at(Suspension), known_at)
    for building_id, vacant in _vacant(buildings, known_at).items():
        pauses[building_id][building_id] += vacant
    impairments = _impairments(at(Impairment), known_at)
    closed = _holidays(buildings)
    kept = off_limits.at(buildings, known_at)
    orders = _by_building(TurnOrder, at(TurnOrder), known_at)
    engaged: defaultdict[UUID, list[Engagement]] = defaultdict(list)
    rows = Engagement.objects.filter(building__among=buildings)
    for row in rows.order_by("from_on", "until_on"):
        engaged[row.building_id].append(row)
    found = {}
    for one in buildings:
        on = days[one.pk]
        agreement = _in_force(agreements[one.pk], on)
        timing = _timing(timings, agreement, on)
        by = engaged[one.pk]
        found[one.pk] = Terms(
            engaged=not by or any(row.holds_on(on, known_at) for row in by),
            agreement=agreement,
            policy=_policy(timing, closed.get(one.jurisdiction_id, frozenset())),
            frost=_frost(one, timing),
            overlays=tuple(
                Overlay(row.regime, row.edition, row.authority)
                for row in regimes[one.pk]
                if _holds(row, on)
            ),
            pauses={
                subject: tuple(sorted(spans, key=lambda pause: pause.from_on))
                for subject, spans in pauses[one.pk].items()
            },
            impaired=_on_day(impairments[one.pk], one, on),
            off_limits=kept[one.pk],
            turn_orders=tuple(orders[one.pk]),
            engagements=tuple(by),
            impairments=tuple(impairments[one.pk]),
        )
    return found


def _known(rows: Any, known_at: datetime | None) -> list[Any]:
    return list(rows if known_at is None else rows.filter(recorded_at__lte=known_at))


def _by_building(
    model: Any, buildings: Sequence[Building], known_at: datetime | None
) -> defaultdict[UUID, list[Any]]:
    found: defaultdict[UUID, list[Any]] = defaultdict(list)
    if not buildings:
        return found
    rows = model.objects.filter(building__among=buildings).order_by("valid_from", "recorded_at")
    for row in _known(rows, known_at):
        found[row.building_id].append(row)
    return found


def _holds(row: Any, on: date) -> bool:
    return row.valid_from <= on and (row.valid_until is None or on <= row.valid_until)


def _in_force(rows: Iterable[Agreement], on: date) -> Agreement | None:
    begun = [row for row in rows if row.valid_from <= on]
    return begun[-1] if begun and _holds(begun[-1], on) else None


def _timing(rows: Iterable[Timing], agreement: Agreement | None, on: date) -> Timing | None:
    begun = [row for row in rows if row.valid_from <= on]
    own = [row for row in begun if agreement and row.agreement_id == agreement.pk]
    ours = [row for row in begun if row.agreement_id is None]
    found = own or ours
    return found[-1] if found else None


def _policy(timing: Timing | None, holidays: frozenset[date]) -> Policy:
    if timing is None:
        return Policy(holidays=holidays)
    return Policy(
        anchoring=Anchoring(timing.anchoring),
        rolling_year=timing.rolling_year,
        week_starts=timing.week_starts,
        holidays=holidays,
    )


def _frost(building: Building, timing: Timing | None) -> Frost:
    told = timing if timing and timing.frost_from and timing.frost_until else None
    return Frost(
        latitude=building.latitude,
        begins=_month_day(told.frost_from) if told else None,
        ends=_month_day(told.frost_until) if told else None,
    )


def _month_day(text: str) -> tuple[int, int]:
    month, day = text.split("-")
    return int(month), int(day)


def _holidays(buildings: Sequence[Building]) -> dict[UUID | None, frozenset[date]]:
    places = {one.jurisdiction_id for one in buildings if one.jurisdiction_id}
    found: dict[UUID | None, set[date]] = defaultdict(set)
    for place, on in Holiday.objects.filter(jurisdiction__in=places).values_list(
        "jurisdiction_id", "on"
    ):
        found[place].add(on)
    return {place: frozenset(days) for place, days in found.items()}


def _pauses(
    buildings: Sequence[Building], known_at: datetime | None
) -> defaultdict[UUID, defaultdict[UUID, list[Pause]]]:
    """Return the time for which items rested by leave, by building and item."""
    found: defaultdict[UUID, defaultdict[UUID, list[Pause]]]
    found = defaultdict(lambda: defaultdict(list))
    if not buildings:
        return found
    newest: dict[UUID, Suspension] = {}
    rows = Suspension.objects.filter(building__among=buildings).order_by("recorded_at", "id")
    for row in _known(rows, known_at):
        newest[row.matter] = row
    for row in newest.values():
        if not row.withdrawn:
            pause = Pause(
                from_on=row.from_on,
                back_on=row.back_on,
                authority=row.authority,
                reason=row.reason,
            )
            found[row.building_id][row.subject_id].append(pause)
    return found


def _vacant(buildings: Sequence[Building], known_at: datetime | None) -> dict[UUID, list[Pause]]:
    """Return the time for which buildings rested by their own revisions."""
    rows = Revision.objects.filter(building__among=buildings, subject_kind="building")
    rows = rows.filter(
        Q(facts__has_key="suspended_from") | Q(facts__has_key="suspended_until")
    ).order_by("valid_from", "recorded_at", "id")
    spans: dict[UUID, dict[date, Pause]] = defaultdict(dict)
    facts: dict[UUID, dict[str, Any]] = defaultdict(dict)
    for row in _known(rows, known_at):
        of_it, before = facts[row.building_id], dict(facts[row.building_id])
        stock.merge(of_it, row.facts)
        begun, was = of_it.get("suspended_from"), before.get("suspended_from")
        if was and was != begun:
            # Taken back, or another time: the one before ended when the facts changed.
            old = spans[row.building_id][date.fromisoformat(was)]
            ended = min(old.back_on or row.valid_from, row.valid_from)
            spans[row.building_id][old.from_on] = _until(old, max(ended, old.from_on))
        if begun:
            until = of_it.get("suspended_until")
            first = date.fromisoformat(begun)
            spans[row.building_id][first] = Pause(
                from_on=first,
                back_on=date.fromisoformat(until) + _DAY if until else None,
                reason=of_it.get("suspension_reason") or "",
            )
    return {building_id: list(pauses.values()) for building_id, pauses in spans.items()}


def _until(pause: Pause, back_on: date) -> Pause:
    return Pause(
        from_on=pause.from_on, back_on=back_on, authority=pause.authority, reason=pause.reason
    )


def _impairments(
    buildings: Sequence[Building], known_at: datetime | None
) -> defaultdict[UUID, list[Impairment]]:
    found: defaultdict[UUID, list[Impairment]] = defaultdict(list)
    if not buildings:
        return found
    rows = Impairment.objects.filter(building__among=buildings)
    if known_at is not None:
        rows = rows.filter(started_at__lte=known_at)
    for row in rows:
        if known_at is not None and row.ended_at and row.ended_at > known_at:
            row.ended_at = None
        found[row.building_id].append(row)
    return found


def _on_day(rows: Iterable[Impairment], building: Building, on: date) -> dict[UUID, str]:
    zone = building.zone
    return {
        row.subject_id: row.extent
        for row in rows
        if row.started_at.astimezone(zone).date() <= on
        and (row.ended_at is None or on < row.ended_at.astimezone(zone).date())
    }


# --- written ---------------------------------------------------------------------------------


def regimes() -> list[str]:
    """Return the regimes of which the catalogue defines windows."""
    return sorted({rule.regime for rule in catalogue().windows})


def ask_for(
    building: Building,
    regime: str,
    *,
    valid_from: date,
    by: Membership,
    authority: str = "",
    edition: int | None = None,
    valid_until: date | None = None,
) -> Regime:
    """Have a regime's windows hold at a building beside those of the adopted standard.

    Raises
    ------
    FieldRefused
        When the catalogue defines no windows for it, or it ends before it begins.
    """
    known = regimes()
    if regime not in known:
        raise FieldRefused("regime", regime, _("One of: %(names)s.") % {"names": ", ".join(known)})
    _check_day("valid_from", valid_from)
    _check_until(valid_from, valid_until)
    with transaction.atomic():
        if building.regimes.filter(regime=regime, valid_from=valid_from).exists():
            raise FieldRefused("valid_from", valid_from, _("Another day: it holds from then on."))
        made: Regime = Regime.objects.create(
            building=building,
            regime=regime,
            edition=edition,
            valid_from=valid_from,
            valid_until=valid_until,
            authority=authority.strip()[:120],
            recorded_at=timezone.now(),
            recorded_by=by,
        )
        audit.record("regime.asked", by=by, on=building, regime=regime)
        stock.tell_changed(building.pk, timezone.now())
    return made


def end_regime(regime: Regime, *, valid_until: date, by: Membership) -> Regime:
    """Say on which day a regime holds for the last time; what fell due by it before stays so.

    Raises
    ------
    FieldRefused
        When it has ended already, or that day lies before its first.
    """
    with transaction.atomic():
        held: Regime = Regime.objects.select_for_update().get(pk=regime.pk)
        if held.valid_until is not None:
            raise FieldRefused("valid_until", valid_until, _("It has been ended already."))
        _check_until(held.valid_from, valid_until)
        held.valid_until = valid_until
        held.save(update_fields=["valid_until"])
        audit.record("regime.ended", by=by, on=held.building, regime=held.regime)
        stock.tell_changed(held.building_id, timezone.now())
    return held


def _check_day(field_name: str, day: date) -> None:
    if not EARLIEST <= day <= LATEST:
        raise FieldRefused(field_name, day, _("A day from 1990 to 2100."))


def _check_until(valid_from: date, valid_until: date | None) -> None:
    if valid_until is None:
        return
    _check_day("valid_until", valid_until)
    if valid_until < valid_from:
        raise FieldRefused(
            "valid_until", valid_until, _("A day from %(day)s.") % {"day": valid_from}
        )


def time_by(
    *,
    valid_from: date,
    by: Membership,
    agreement: Agreement | None = None,
    anchoring: str = Anchoring.MIXED,
    rolling_year: bool = False,
    week_starts: int = 0,
    frost_from: str = "",
    frost_until: str = "",
) -> Timing:
    """Set how due days are reckoned from a day on, for the contractor or for one agreement.

    Raises
    ------
    FieldRefused
        When a setting is none, or frost has a beginning and no end.
    """
    ways = [str(way) for way in Anchoring]
    if anchoring not in ways:
        raise FieldRefused(
            "anchoring", anchoring, _("One of: %(ways)s.") % {"ways": ", ".join(ways)}
        )
    if not 0 <= week_starts <= LAST_WEEKDAY:
        raise FieldRefused("week_starts", week_starts, _("0 for Monday to 6 for Sunday."))
    for name, text in (("frost_from", frost_from), ("frost_until", frost_until)):
        if (frost_from or frost_until) and not _is_month_day(text):
            raise FieldRefused(name, text, _("Month and day, such as 11-15, or both left out."))
    _check_day("valid_from", valid_from)
    with transaction.atomic():
        made: Timing = Timing.objects.create(
            agreement=agreement,
            valid_from=valid_from,
            anchoring=anchoring,
            rolling_year=rolling_year,
            week_starts=week_starts,
            frost_from=frost_from,
            frost_until=frost_until,
            recorded_at=timezone.now(),
            recorded_by=by,
        )
        on = agreement.building if agreement else by.contractor
        audit.record("timing.set", by=by, on=on, anchoring=anchoring)
        if agreement is not None:
            stock.tell_changed(agreement.building_id, timezone.now())
        else:
            outbox.add("programme.derive", f"timing:{made.pk}")
    return made


def _is_month_day(text: str) -> bool:
    if not _MONTH_DAY.fullmatch(text):
        return False
    month, day = _month_day(text)
    try:
        date(2000, month, day)
    except ValueError:
        return False
    return True


def suspend(
    subject: Any,
    *,
    from_on: date,
    authority: str,
    reason: str,
    by: Membership,
    back_on: date | None = None,
) -> Suspension:
    """Let a building or an item rest by somebody's leave: nothing on it is due meanwhile.

    Parameters
    ----------
    subject
        The building, or a system, riser or device; what hangs on it rests with it.
    back_on
        First day back, where it is known already.

    Raises
    ------
    FieldRefused
        When nobody gave leave, the reason is missing, or it is back before it is out.
    """
    kind = stock.subject_kind_of(subject)
    building = subject if kind == "building" else subject.building
    if not authority.strip():
        raise FieldRefused("authority", authority, _("Who gave leave, such as the fire marshal."))
    if not reason.strip():
        raise FieldRefused("reason", reason, _("Why it rests, in a few words."))
    _check_day("from_on", from_on)
    _check_back(from_on, back_on)
    row = Suspension(
        building=building,
        subject_kind=kind,
        subject_id=subject.pk,
        from_on=from_on,
        back_on=back_on,
        authority=authority.strip()[:120],
        reason=reason.strip()[:200],
    )
    return _keep(row, "suspended", by)


def resume(suspension: Suspension, *, back_on: date, by: Membership) -> Suspension:
    """Say on which day what rested is back; what fell due meanwhile is owed on that day.

    Raises
    ------
    FieldRefused
        When it never held, or is back before it was out.
    """
    with transaction.atomic():
        last = _last(suspension, "back_on", back_on)
        _check_back(last.from_on, back_on)
        return _keep(_again(last, back_on=back_on), "resumed", by)


def withdraw(suspension: Suspension, *, by: Membership) -> Suspension:
    """Say that a suspension was written in error: it never held."""
    with transaction.atomic():
        last = _last(suspension, "withdrawn", True)
        return _keep(_again(last, withdrawn=True), "suspension_withdrawn", by)


def suspensions() -> QuerySet[Suspension]:
    """Return what is known of each leave to rest: the newest row of its matter, newest first."""
    rows = Suspension.objects.all()
    of_it = rows.filter(matter=OuterRef("matter")).order_by("-recorded_at", "-id")
    newest = rows.filter(pk=Subquery(of_it.values("pk")[:1]))
    return newest.order_by("-from_on", "-recorded_at", "id")


def _last(suspension: Suspension, field_name: str, value: Any) -> Suspension:
    last: Suspension = suspensions().get(matter=suspension.matter)
    if last.withdrawn:
        raise FieldRefused(field_name, value, _("Leave that was not withdrawn."))
    return last


def _check_back(from_on: date, back_on: date | None) -> None:
    if back_on is None:
        return
    _check_day("back_on", back_on)
    if back_on <= from_on:
        raise FieldRefused("back_on", back_on, _("A day after %(day)s.") % {"day": from_on})


def _again(row: Suspension, **changes: Any) -> Suspension:
    names = (
        *("matter", "building_id", "subject_kind", "subject_id", "from_on", "back_on"),
        *("authority", "reason"),
    )
    return Suspension(**{name: getattr(row, name) for name in names} | changes)


def _keep(row: Suspension, what: str, by: Membership) -> Suspension:
    with transaction.atomic():
        row.recorded_at, row.recorded_by = timezone.now(), by
        row.save()
        audit.record(f"{row.subject_kind}.{what}", by=by, on=row.building, reason=row.reason)
        stock.tell_changed(row.building_id, row.recorded_at)
    return row
