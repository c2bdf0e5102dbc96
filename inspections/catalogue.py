"""The catalogue of activities: what the rules ask, as data, and the questions asked of it.

A catalogue is one immutable version. Results name the version and the activity that they were
made under. `inspections.catalogue_files` reads and checks the tables.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from buildings.kinds import Kinds
from inspections.catalogue_rows import (
    Act,
    Activity,
    Alternation,
    Caution,
    Change,
    DeficiencyClass,
    EditionDifference,
    FamilyMember,
    Limit,
    PartTest,
    Substitution,
)
from inspections.conditions.compiled import Condition
from inspections.conditions.facts import Answer, Fact, Origin
from inspections.intervals import Span, WindowRule

# Where a regime defines no window for a frequency, the definition of the regime on which its
# authorities build is borrowed, and marked so (common practice, no source).
_BORROWS = dict.fromkeys(("nfpa72", "ca_title19", "osha", "local", "own"), "nfpa25")
# The frequency words of NFPA 25 were first defined in its 2014 edition; before, the authority
# decided (SFPE emerging-trends issue 81), and the later gaps are used provisionally.
_WORDS_DEFINED = 2014
_LONG = Span(months=120)


class _Columns:
    """The columns of an activity, as the conditions of cautions look them up."""

    def __init__(self, activity: Activity) -> None:
        self.activity = activity

    def look_up(self, name: str) -> Fact:
        return Fact(name, getattr(self.activity, name))


@dataclass(frozen=True, kw_only=True, eq=False)
class Catalogue:
    """One version of the whole catalogue.

    Attributes
    ----------
    version
        Its name, with the beginning of the digest of its tables.
    digest
        SHA-256 over the tables, hexadecimal.
    alternating
        By activity, which of its items take turns.
    takes_in
        The laws or agreements by which longer work takes in the shorter of its family.
    """

    version: str
    digest: str
    kinds: Kinds
    activities: Mapping[str, Activity]
    windows: tuple[WindowRule, ...]
    limits: tuple[Limit, ...]
    deficiencies: Mapping[str, DeficiencyClass]
    cautions: tuple[Caution, ...]
    families: tuple[FamilyMember, ...]
    part_tests: tuple[PartTest, ...]
    differences: tuple[EditionDifference, ...]
    substitutions: tuple[Substitution, ...]
    alternating: Mapping[str, Alternation]
    takes_in: tuple[Change, ...] = ()

    def activity(self, activity_id: str) -> Activity:
        """Return an activity.

        Raises
        ------
        KeyError
            When this version has none of that id.
        """
        return self.activities[activity_id]

    def for_kind(self, kind: str) -> tuple[Activity, ...]:
        """Return the activities that a kind of item may carry, in the order of the table."""
        return self._by_kind.get(kind, ())

    def roles(self, activity_id: str) -> tuple[FamilyMember, ...]:
        """Return an activity's places in families."""
        return self._roles.get(activity_id, ())

    def family(self, name: str) -> tuple[FamilyMember, ...]:
        """Return the places of a family, in the order of the table."""
        return self._family.get(name, ())

    def limit(self, name: str, edition: int | None) -> Limit | None:
        """Return the figure of an edition; None when the edition has none.

        Without an edition, only a figure that all editions share.
        """
        for limit in self._limits.get(name, ()):
            if limit.edition_from is None and limit.edition_to is None:
                return limit
            if edition is not None and (
                (limit.edition_from or edition) <= edition <= (limit.edition_to or edition)
            ):
                return limit
        return None

    def limit_fact(self, name: str, edition: int | None) -> Fact:
        """Return a limit as conditions look it up; unknown where the edition has none."""
        limit = self.limit(name, edition)
        if limit is None:
            return Fact(f"limit.{name}", None, Origin.UNKNOWN)
        return Fact(f"limit.{name}", limit.value)

    def deficiencies_for(
        self, *, component: str | None = None, activity_id: str | None = None
    ) -> tuple[DeficiencyClass, ...]:
        """Return the classes of findings on a component, or at an activity, or both."""
        return tuple(
            one
            for one in self.deficiencies.values()
            if component in (None, one.component) and activity_id in (None, one.activity_id)
        )

    def cautions_for(self, activity: Activity) -> tuple[Caution, ...]:
        """Return the cautions at the place of an activity, those of its own group first."""
        columns = _Columns(activity)
        held = [one for one in self.cautions if one.holds_for.evaluate(columns).value]
        return tuple(sorted(held, key=lambda one: one.scope != "group"))

    def cautions_told(self, activity: Activity) -> list[str]:
        """Return the cautions at the place of an activity in words, its own first."""
        held = [f"{one.hazard}: {one.caution}" for one in self.cautions_for(activity)]
        told = [activity.caution, *held] if activity.caution else held
        return [one[:1].upper() + one[1:] for one in told]

    def tests_after(self, kind: str, act: str) -> tuple[PartTest, ...]:
        """Return the tests that may be owed when a part of that kind has been worked on.

        Each row's `holds_if` decides, over the item, the edition, `affected` and `from_stock`.
        """
        return tuple(one for one in self.part_tests if one.kind == kind and one.act == act)

    def minutes(self, acts: Iterable[Act]) -> float:
        """Return the minutes of work of one visit, one pair of hands, travel left out.

        Set-up counts once for each group and place (the longest), each item for itself, and
        members of one family on one item once (the longest). All minutes are estimates.
        """
        return sum(self.added(acts))

    def added(self, acts: Iterable[Act]) -> list[float]:
        """Return what each act adds to the minutes of one visit, in the order given.

        Of those that share a set-up, the one that takes longest to set up carries it.
        """
        acts = list(acts)
        own = [_own_minutes(act) for act in acts]
        order = sorted(range(len(acts)), key=own.__getitem__, reverse=True)
        counted: dict[str, set[str]] = defaultdict(set)
        carries: dict[tuple[str, str], int] = {}
        found = [0.0] * len(acts)
        for n in order:
            activity, item = acts[n].activity, acts[n].item
            first = carries.setdefault((activity.group, acts[n].place), n)
            if activity.minutes_fixed > acts[first].activity.minutes_fixed:
                carries[activity.group, acts[n].place] = n
            families = self._counted_once[activity.id]
            if counted[item].isdisjoint(families):
                counted[item] |= families
                found[n] = own[n]
        for n in carries.values():
            found[n] += acts[n].activity.minutes_fixed
        return found

    def window_rule(self, regime: str, edition: int | None, frequency: Span) -> WindowRule:
        """Return how far the repeats of a frequency may stray under a regime.

        Parameters
        ----------
        regime
            Such as ``nfpa25`` or ``joint_commission``.
        edition
            Its adopted edition or year; None for the newest known.
        frequency
            The plain interval.

        Notes
        -----
        Where the regime defines nothing for the frequency, the regime it builds on is borrowed;
        failing that there is no earliest date and the nominal date is the latest (common practice,
        no source). Both are marked provisional.
        """
        rule = self.own_window_rule(regime, edition, frequency)
        if rule is not None:
            return rule
        lender = _BORROWS.get(regime)
        borrowed = None if lender is None else self.own_window_rule(lender, edition, frequency)
        if borrowed is not None:
            return replace(borrowed, regime=regime, provisional=True)
        return WindowRule(
            regime=regime,
            edition="",
            word=f"every {frequency}",
            nominal=frequency,
            greatest=frequency,
            provisional=True,
            source="common practice, no source",
        )

    def own_window_rule(
        self, regime: str, edition: int | None, frequency: Span
    ) -> WindowRule | None:
        """Return a regime's own definition of a frequency, or None where it has none."""
        asked = regime, edition, frequency
        if asked not in self._own_windows:
            self._own_windows[asked] = self._own_window(*asked)
        return self._own_windows[asked]

    def _own_window(self, regime: str, edition: int | None, frequency: Span) -> WindowRule | None:
        before_words = regime == "nfpa25" and edition is not None and edition < _WORDS_DEFINED
        wanted = _WORDS_DEFINED if before_words else edition
        found = None
        for rule in self.windows:
            if rule.regime != regime or not _in_force(rule.edition, wanted):
                continue
            if rule.nominal == frequency:
                found = rule
            elif rule.nominal == _LONG and frequency.months > _LONG.months:
                found = found or replace(rule, nominal=frequency, greatest=frequency)
        if found is None or not before_words:
            return found
        return replace(found, provisional=True)

    @cached_property
    def _own_windows(self) -> dict[tuple[str, int | None, Span], WindowRule | None]:
        return {}

    @cached_property
    def _by_kind(self) -> Mapping[str, tuple[Activity, ...]]:
        found: dict[str, list[Activity]] = defaultdict(list)
        for activity in self.activities.values():
            for kind in activity.subjects:
                found[kind].append(activity)
        return {kind: tuple(activities) for kind, activities in found.items()}

    @cached_property
    def _roles(self) -> Mapping[str, tuple[FamilyMember, ...]]:
        found: dict[str, list[FamilyMember]] = defaultdict(list)
        for role in self.families:
            found[role.activity_id].append(role)
        return {activity_id: tuple(roles) for activity_id, roles in found.items()}

    @cached_property
    def _family(self) -> Mapping[str, tuple[FamilyMember, ...]]:
        found: dict[str, list[FamilyMember]] = defaultdict(list)
        for role in self.families:
            found[role.family].append(role)
        return {name: tuple(roles) for name, roles in found.items()}

    @cached_property
    def _limits(self) -> Mapping[str, list[Limit]]:
        found: dict[str, list[Limit]] = defaultdict(list)
        for limit in self.limits:
            found[limit.name].append(limit)
        return found

    @cached_property
    def _counted_once(self) -> Mapping[str, set[str]]:
        found: dict[str, set[str]] = defaultdict(set)
        for role in self.families:
            if role.role not in ("part", "sequence"):
                found[role.activity_id].add(role.family)
        return found


def _own_minutes(act: Act) -> float:
    counts = act.activity.item_unit != "subject"
    return act.activity.minutes_per_item * (act.count if counts else 1)


def _in_force(written: str, edition: int | None) -> bool:
    """Say whether a row's edition, as written, is in force in an edition."""
    year = next((int(word) for word in written.split() if word.isdigit()), None)
    if "before" in written:
        return year is not None and edition is not None and edition < year
    return year is None or edition is None or edition >= year


def judge(criterion: Condition, facts: Mapping[str, Fact]) -> Answer:
    """Return what a criterion comes to over facts given by name; absent ones are unknown."""
    return criterion.evaluate(_Given(facts))


class _Given:
    def __init__(self, facts: Mapping[str, Fact]) -> None:
        self.facts = facts

    def look_up(self, name: str) -> Fact:
        return self.facts.get(name) or Fact(name, None, Origin.UNKNOWN)
