"""Two tablets at one visit under every mishap of line, clock and battery: a search for a loss.

The machine drives the app's protocol against the real endpoints and compares the record with what
the people at the building really did. Rules of the record that are broken on purpose show that it
would see the difference.
"""

import copy
import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import count
from typing import Any
from unittest.mock import ANY

import pytest
from django.db import connection, transaction
from django.db.models import Value
from django.utils import timezone
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from contractors.models import new_id
from inspections import projections, record, settling, taking
from inspections.events import fold
from inspections.events.clock import Estimate, Quality, Stamp, stopwatch_seconds
from inspections.events.envelope import Event as Checked
from inspections.events.heads import Heads, heads_of, worst_first
from inspections.events.kind import ANSWERS
from inspections.models import Event, Photo, Quarantined, Reading, Result
from inspections.models import Tablet as TabletRow
from tests.inspections import tablets
from tests.inspections.queued import BEGINNING, Picture, Queued, Row, World

pytestmark = pytest.mark.django_db

RUNS = 300
FUZZ_RUNS = 10_000
STEPS = 6

DELIVERED = {"applied", "conflict", "rejected"}
WHICH = st.integers(0, 1)
ITEMS = st.integers(0, 1)
WORDS = ("fail", "could_not", "pass")
FATES = ("good", "good", "good", "lost", "unanswered", "cut", "doubled", "turned")
# A line holds a request back for as long as this; later than that nobody waits for it.
HELD_BACK = timedelta(seconds=60)
AGREEMENT = timedelta(seconds=120)
# What one clock is put wrong by is never what the other one missed: nothing could tell that.
JUMPS = (timedelta(days=400), timedelta(days=-400), timedelta(hours=37))
SPANS = tuple(timedelta(seconds=one) for one in (45, 600, 1200))
MOST_MADE = 3


@dataclass
class Building:
    """What a run begins with: a visit begun, and two people with a tablet each."""

    scene: Any
    visit: Any
    world: World
    tablets: tuple[Queued, Queued]
    photo: bytes


class Visit(RuleBasedStateMachine):
    """A day at the building. What was really done is in the rows of the tablets."""

    begun: Building
    most_made = MOST_MADE

    def __init__(self) -> None:
        super().__init__()
        self.scene, self.visit = self.begun.scene, self.begun.visit
        self.world = self.begun.world
        self.world.at, self.world.server_wrong_by = BEGINNING, timedelta(0)
        self.tablets = tuple(_fresh(one) for one in self.begun.tablets)
        self.on_the_way: list[tuple[Any, Queued, dict[str, Any]]] = []
        self.arrived: list[str] = []
        self.forged: list[dict[str, Any]] = []
        self.decided: dict[int, list[tuple[str, str]]] = {}
        self.replaced: set[str] = set()
        self.received: dict[str, tuple[datetime, timedelta]] = {}
        self.savepoint = transaction.atomic()
        self.savepoint.__enter__()

    @initialize(item=ITEMS, words=st.lists(st.sampled_from(WORDS), min_size=1, max_size=2))
    def begin(self, item: int, words: list[str]) -> None:
        """Let one or both answer without signal, neither seeing the other's answer."""
        for which, word in enumerate(words):
            self.answer(which, item, word, "lost", looked=False)

    # --- what people do ---------------------------------------------------------------------

    @precondition(lambda self: self.made() < self.most_made)
    @rule(
        which=WHICH,
        item=ITEMS,
        word=st.sampled_from(WORDS),
        looked=st.booleans(),
        fate=st.sampled_from(FATES),
    )
    def answer(self, which: int, item: int, word: str, fate: str, *, looked: bool) -> None:
        """Answer, and send it at once; whoever looked at the own answer before replaces it."""
        tablet = self.tablets[which]
        payload = {**self.item(item), "answer": word}
        if word == "could_not":
            payload["reason"] = "no access"
        before = self.own_heads(tablet, payload) if looked else []
        if len(before) > 1:
            payload["reason"] = "looked again"
        tablet.record("item.set", payload, **({"seen": before} if before else {}))
        self.send(which, fate, 1)

    @precondition(lambda self: self.made() < self.most_made)
    @rule(which=WHICH, psi=st.integers(40, 90))
    def read(self, which: int, psi: int) -> None:
        """Take a reading."""
        value = {"value": str(psi), "unit": "psi"}
        payload = self.item(0) | {"name": "static_pressure", "typed": f"{psi} psi", "value": value}
        self.tablets[which].record("reading.add", payload)

    @precondition(lambda self: self.made() < self.most_made)
    @rule(which=WHICH, how=st.sampled_from(["unit", "kind", "subject", "answer"]))
    def misrecord(self, which: int, how: str) -> None:
        """Record what the server has to refuse, as a newer or a broken app would."""
        payload: dict[str, Any] = {**self.item(0), "answer": "pass"}
        kind = "item.set"
        if how == "kind":
            kind = "item.guess"
        elif how == "subject":
            payload["subject"] = {"kind": "riser", "id": str(new_id())}
        elif how == "answer":
            payload["answer"] = "splendid"
        else:
            value = {"value": "64", "unit": "furlong"}
            payload = self.item(0) | {"name": "static_pressure", "typed": "64", "value": value}
            kind = "reading.add"
        self.tablets[which].record(kind, payload).wrong = True

    @precondition(lambda self: not any(one.photos for one in self.tablets))
    @rule(which=WHICH)
    def photograph(self, which: int) -> None:
        """Take a photo; its bytes come in pieces, its entry with the others."""
        tablet, photo = self.tablets[which], Picture(str(new_id()), self.begun.photo)
        told = {"blob": photo.blob, "sha256": photo.sha256, "size": len(photo.content)}
        payload = {**told, "media_type": "image/jpeg", "subject": self.item(0)["subject"]}
        tablet.photos.append(photo)
        tablet.record("photo.attach", payload)

    @rule(item=ITEMS, best=st.booleans())
    def decide(self, item: int, *, best: bool) -> None:
        """Look at the visit, and let the office decide between two answers that stand."""
        heads = self.check_answers()[item]
        if not heads.in_conflict:
            return
        choice = heads.events[-1 if best else 0]
        with self.scene.scope():
            self.visit.refresh_from_db()
            settling.settle(
                self.visit, choice.id, choice=choice.id, reason="looked", by=self.scene.manager
            )
        self.replaced |= {str(one) for one in heads.ids}
        self.decided[item] = [_told(one) for one in self.seen()[0][item].events]
        assert [word for _id, word in self.decided[item]] == [choice.payload["answer"]]

    # --- what the line does -----------------------------------------------------------------

    @rule(which=WHICH, fate=st.sampled_from(FATES), count=st.integers(1, 4))
    def try_again(self, which: int, fate: str, count: int) -> None:
        """Send what waits."""
        self.send(which, fate, count)

    def send(self, which: int, fate: str, count: int) -> None:
        """Send what waits: lost, unanswered, cut short by a crash, doubled or turned round."""
        tablet = self.tablets[which]
        body = tablet.body()
        if not body["events"] or fate == "lost":
            return
        if fate == "cut":
            body["events"] = body["events"][:count]
        if fate == "turned":
            body["events"].reverse()
        if fate == "doubled":
            body["events"] += body["events"][:count]
        answer = self.deliver(tablet, body)
        if answer is not None and fate not in ("unanswered", "cut"):
            tablet.settle(answer)

    @rule(which=WHICH)
    def hold_back(self, which: int) -> None:
        """Let a request wait on its way; the tablet gives it up."""
        tablet = self.tablets[which]
        if any(row.to_send for row in tablet.rows):
            self.on_the_way.append((self.world.at, tablet, tablet.body()))

    @precondition(lambda self: self.on_the_way)
    @rule(last=st.booleans())
    def come_late(self, *, last: bool) -> None:
        """Let a request arrive that its tablet gave up, before or after a younger one."""
        sent, tablet, body = self.on_the_way.pop(-1 if last else 0)
        if self.world.at - sent <= HELD_BACK and body["tablet"] == tablet.id:
            self.deliver(tablet, body)

    @precondition(lambda self: self.arrived)
    @rule(which=WHICH, word=st.sampled_from(WORDS[:1] + WORDS[2:]))
    def forge(self, which: int, word: str) -> None:
        """Send an entry again with other content: nothing of the first may change."""
        tablet = self.tablets[which]
        here = [row for row in tablet.rows if row.event["id"] in self.arrived and not row.to_send]
        here = [row for row in here if row.event["tablet"] == tablet.id]
        answers = [row for row in here if row.event["kind"] == "item.set"]
        if not answers or answers[-1].event["payload"].get("answer") == word:
            return
        entry = copy.deepcopy(answers[-1].event)
        entry["payload"] |= {"answer": word, "reason": "changed afterwards"}
        answer = tablet.push({"tablet": tablet.id, **tablet.stamp(), "events": [entry]})
        if answer.status_code == 404:
            return
        result = answer.data["results"][0]
        assert result["status"] == "rejected", f"changed content was taken: {result}"
        self.forged.append(entry)

    @rule(
        which=WHICH,
        size=st.sampled_from([100, 400, 2000]),
        fate=st.sampled_from(["good", "lost", "unanswered", "damaged"]),
    )
    def upload(self, which: int, size: int, fate: str) -> None:
        """Send a piece of a photo over the same line."""
        tablet = self.tablets[which]
        for photo in tablet.photos:
            if not photo.sent:
                tablet.chunk(photo, size, fate)

    @rule(which=WHICH)
    def forget(self, which: int) -> None:
        """Let the server forget the tablet."""
        with self.scene.scope():
            TabletRow.objects.filter(pk=self.tablets[which].id).delete()

    # --- what time does ---------------------------------------------------------------------

    @rule(which=WHICH, by=st.sampled_from(JUMPS))
    def jump(self, which: int, by: timedelta) -> None:
        """Put a tablet's clock wrong, or wronger."""
        self.tablets[which].wrong_by += by

    @rule(by=st.sampled_from(JUMPS))
    def jump_at_the_server(self, by: timedelta) -> None:
        """Put the server's clock wrong, or wronger."""
        self.world.server_wrong_by += by

    @rule(which=WHICH, span=st.sampled_from(SPANS), asleep=st.booleans())
    def wait(self, which: int, span: timedelta, *, asleep: bool) -> None:
        """Let time go by; one tablet may sleep meanwhile, and its stopwatch stop."""
        tablet, other = self.tablets[which], self.tablets[1 - which]
        self.pass_time(span, awake=(other,) if asleep else (tablet, other))

    @rule(which=WHICH)
    def crash(self, which: int) -> None:
        """Kill the app and start it again."""
        self.tablets[which].crash()

    # --- what has to hold -------------------------------------------------------------------

    def teardown(self) -> None:
        """Let everything arrive, compare, and undo the run."""
        try:
            if sys.exception() is None:
                self.bring_all()
                self.check_all()
        finally:
            transaction.set_rollback(True)
            self.savepoint.__exit__(None, None, None)

    def check_all(self) -> None:
        self.check_answers()
        with self.scene.scope():
            rows = list(Event.objects.filter(visit_id=self.visit.pk).order_by("number"))
            kept = _projected()
            self.check_record(rows, kept)
            self.check_quarantine()
            self.check_numbers()
            self.check_times(rows)
            self.check_photos(kept)
            projections.rebuild()
            assert _projected() == kept, "what is kept for speed is not what the record says"

    def check_answers(self) -> list[Heads]:
        """Every head is seen, and the worst is shown, until a person decides."""
        standing, shown = self.seen()
        for item, heads in enumerate(standing):
            expected = sorted([*self.left(item).items(), *self.decided.get(item, ())])
            assert sorted(map(_told, heads.events)) == expected, "an answer went, or came back"
            words = {word for _id, word in expected}
            row = shown.get(self.item(item)["activity"])
            assert (row is not None) == bool(words)
            if row is not None:
                assert row.answer == min(words, key=ANSWERS.index), "a better answer is shown"
                assert row.disputed == (len(words) > 1)
        return standing

    def seen(self) -> tuple[list[Heads], dict[str, Result]]:
        """Return what stands about each item, and what is shown."""
        with self.scene.scope():
            items = {one.activity: one.heads for one in projections.picture(self.visit.pk).items}
            shown = {one.activity: one for one in Result.objects.filter(visit=self.visit)}
        return [items.get(self.item(item)["activity"], Heads()) for item in (0, 1)], shown

    def left(self, item: int) -> dict[str, str]:
        """Return the answers from tablets that nobody replaced."""
        rows = {row.event["id"]: row.event for one in self.tablets for row in one.rows}
        here = [rows[id] for id in self.arrived if rows[id]["kind"] == "item.set"]
        gone = self.replaced.union(*(one.get("seen", ()) for one in here))
        activity = self.item(item)["activity"]
        mine = [one for one in here if one["payload"]["activity"] == activity]
        return {one["id"]: one["payload"]["answer"] for one in mine if one["id"] not in gone}

    def check_record(self, rows: list[Event], kept: list[list[dict[str, Any]]]) -> None:
        """What was recorded is there once, and says what it said."""
        made = {row.event["id"]: row.event for row in self.good()}
        stored = {str(row.id): record.payload_of(row) for row in rows if row.via == "tablet"}
        stored = {id: payload for id, payload in stored.items() if id != self.opened}
        assert list(stored) == self.arrived, "the record is read in another order than it came"
        assert stored == {id: entry["payload"] for id, entry in made.items()}
        psi = [e["payload"]["typed"] for e in made.values() if e["kind"] == "reading.add"]
        assert sorted(row["typed"] for row in kept[1]) == sorted(psi)
        assert record.verify("visit", self.visit.pk).holds

    def check_quarantine(self) -> None:
        """What was refused is kept whole, with a reason that can be read."""
        wrong = [row for one in self.tablets for row in one.rows if row.wrong]
        rows = list(Quarantined.objects.all())
        kept = [_content(json.loads(row.text)) for row in rows]
        for entry in [row.event for row in wrong] + self.forged:
            assert _content(entry) in kept, "what was refused is not kept"
        assert len(kept) == len({row.event["id"] for row in wrong}) + len(_unlike(self.forged))
        assert all(row.reason for row in rows)

    def check_numbers(self) -> None:
        """Nothing is missing from what a tablet counted."""
        counted = {str(row.pk): row.last_seq for row in TabletRow.objects.all()}
        for tablet in self.tablets:
            assert counted.get(tablet.id, tablet.seq) == tablet.seq, "a number was left out"

    def check_times(self, rows: list[Event]) -> None:
        """A time lies between last contact and receipt; one called good is right to 120 s.

        All by the server's clock as it stood at the receipt; no other one says more.
        """
        stored = {str(row.id): row for row in rows}
        for made in self.good():
            row = stored[made.event["id"]]
            received_at, server_wrong_by = self.received[str(row.id)]
            assert row.received_at == received_at
            assert row.happened_at <= received_at
            assert row.happened_at >= made.contact or made.contact > received_at
            wrong_by = abs(row.happened_at - made.made_at - server_wrong_by)
            assert row.time_uncertain or wrong_by <= AGREEMENT, f"{wrong_by} wrong and called good"

    def check_photos(self, kept: list[list[dict[str, Any]]]) -> None:
        """Every photo that was taken is there and can be seen."""
        taken = {(photo.blob, photo.sha256) for one in self.tablets for photo in one.photos}
        there = {(str(row["id"]), row["blob_sha256"]) for row in kept[2] if row["file_id"]}
        assert there == taken

    # --- hands ------------------------------------------------------------------------------

    def item(self, place: int) -> dict[str, Any]:
        activity = ("main-drain-annual", "main-drain-quarterly-backflow")[place]
        return {"subject": tablets.subject(self.scene), "activity": activity}

    def made(self) -> int:
        return sum(len(one.rows) for one in self.tablets)

    def good(self) -> list[Row]:
        return [row for one in self.tablets for row in one.rows if not row.wrong]

    @property
    def opened(self) -> str:
        return str(self.begun.tablets[0].rows[0].event["id"])

    def own_heads(self, tablet: Queued, payload: dict[str, Any]) -> list[str]:
        """Return the answers that stand on this tablet."""
        same = [
            row.event
            for row in tablet.rows
            if row.event["kind"] == "item.set"
            and not row.wrong
            and row.event["payload"]["activity"] == payload["activity"]
        ]
        gone = {one for event in same for one in event.get("seen", ())}
        return [event["id"] for event in same if event["id"] not in gone]

    def deliver(self, tablet: Queued, body: dict[str, Any]) -> Any:
        """Bring a push to the server; return its answer, None where it knows no such tablet."""
        answer = tablet.push(body)
        if answer.status_code == 404:
            tablet.register()
            return None
        assert answer.status_code == 200, answer.content
        taken = {event["id"] for event in body["events"] if event["seq"] < answer.data["next"]}
        for result in answer.data["results"]:
            assert result["status"] == "deferred" or result["id"] in taken, "a number was left out"
            if result["status"] in ("applied", "conflict"):
                self.arrived.append(result["id"])
                self.received[result["id"]] = self.world.now(), self.world.server_wrong_by
            assert result["status"] in DELIVERED | {"duplicate", "deferred"}, result
        return answer.data

    def bring_all(self) -> None:
        """Let the line be good at last."""
        for tablet in self.tablets:
            for _try in range(4):
                if not any(row.to_send for row in tablet.rows):
                    break
                answer = self.deliver(tablet, tablet.body())
                if answer is not None:
                    tablet.settle(answer)
            assert not any(row.to_send for row in tablet.rows), "an entry never arrives"
            for photo in tablet.photos:
                tablet.chunk(photo, len(photo.content), "good")
                assert photo.sent, "a photo never arrives"

    def pass_time(self, span: timedelta, *, awake: tuple[Queued, ...]) -> None:
        self.world.at += span
        for tablet in awake:
            tablet.awake += span


def _fresh(one: Queued) -> Queued:
    return Queued(
        one.world, one.client, one.member, one.visit, one.id, one.ticket, one.contact, one.seq
    )


def _told(answer: Checked) -> tuple[str, str]:
    return str(answer.id), str(answer.payload["answer"])


def _content(entry: dict[str, Any]) -> str:
    kept = {name: value for name, value in entry.items() if name not in ("tablet", "seq")}
    return json.dumps(kept, sort_keys=True)


def _unlike(entries: list[dict[str, Any]]) -> set[str]:
    return {_content(entry) for entry in entries}


def _projected() -> list[list[dict[str, Any]]]:
    return [list(kind.objects.order_by("pk").values()) for kind in (Result, Reading, Photo)]


@pytest.fixture
def building(ours: Any, api: Any, monkeypatch: Any, settings: Any, tmp_path: Any) -> Building:
    """A visit begun by two people, each with a tablet that has nothing to send."""
    settings.MEDIA_ROOT = tmp_path
    world = World()
    monkeypatch.setattr(timezone, "now", world.now)
    visit = tablets.planned(ours)
    both = tuple(Queued(world, api(one), one, visit.pk) for one in (ours.technician, ours.manager))
    for tablet in both:
        tablet.register()
    opened = both[0].record("visit.open", {"at": BEGINNING.isoformat(), "contact": "the caretaker"})
    both[0].settle(both[0].push(both[0].body()).data)
    assert opened.status == "applied"
    return Building(ours, visit, world, (both[0], both[1]), tablets.picture())


def search(building: Building, runs: int, *, steps: int, most_made: int) -> None:
    """Run the machine so many times; each run is undone."""
    machine = type("Visit", (Visit,), {"begun": building, "most_made": most_made})
    phases = (Phase.generate,) if runs <= RUNS else tuple(Phase)
    sought = settings(
        max_examples=runs, stateful_step_count=steps, phases=phases, report_multiple_bugs=False
    )
    run_state_machine_as_test(machine, settings=sought)


@pytest.mark.fuzz
def test_nothing_is_lost_doubled_or_made_better(request: Any, building: Building) -> None:
    if request.config.getoption("fuzz"):
        search(building, FUZZ_RUNS, steps=30, most_made=20)
    else:
        # What PostgreSQL could change shows soon: the same search of all orders runs on SQLite.
        runs = RUNS if connection.vendor == "sqlite" else RUNS // 5
        search(building, runs, steps=STEPS, most_made=MOST_MADE)


# --- rules broken on purpose: the machine has to see each of them ----------------------------


def _last_writer_wins(events: Iterable[Checked]) -> Heads:
    return Heads(tuple(events)[-1:])


def _worst_alone(events: Iterable[Checked]) -> Heads:
    return Heads(heads_of(events).events[:1])


def _first_alone(events: Iterable[Checked]) -> Heads:
    return Heads(tuple(events)[:1])


def _by_the_clock(events: Iterable[Checked]) -> Heads:
    return Heads(tuple(sorted(events, key=lambda one: one.wall or ""))[-1:])


def _best_shown(events: Iterable[Checked]) -> Heads:
    return Heads(heads_of(events).events[::-1])


def _equals_merged(events: Iterable[Checked]) -> Heads:
    by_word = {one.payload["answer"]: one for one in heads_of(events).events}
    return Heads(worst_first(tuple(by_word.values())))


def _clock_alone(*, event: Stamp, push: Stamp, ticket: Any, received: datetime) -> Estimate:
    assert event.wall is not None
    assert push.wall is not None
    return _certain(received - (push.wall - event.wall), ticket, received)


def _stopwatch_alone(*, event: Stamp, push: Stamp, ticket: Any, received: datetime) -> Estimate:
    gone = stopwatch_seconds(event, push) or 0
    return _certain(received - timedelta(seconds=gone), ticket, received)


def _certain(at: datetime, ticket: datetime, received: datetime) -> Estimate:
    at = min(max(at, ticket), received)
    return Estimate(at=at, quality=Quality.GOOD, earliest=ticket, latest=received)


def _number_backwards(_place: int) -> Value:
    return Value(next(BACKWARDS))


def _unordered(self: taking.Taking, raw: Any, tablet: Any, _expected: int) -> dict[str, Any]:
    return self._before(raw) or self.applied(raw, tablet)


BACKWARDS = count(10**12, -1)
ANSWERS_LOST = "an answer went, or came back"
BROKEN = {
    "the last writer wins": (fold, "heads_of", _last_writer_wins, ANSWERS_LOST),
    "the first writer wins": (fold, "heads_of", _first_alone, ANSWERS_LOST),
    "the clock decides": (fold, "heads_of", _by_the_clock, ANSWERS_LOST),
    "the second head is dropped": (fold, "heads_of", _worst_alone, ANSWERS_LOST),
    "equal answers are merged": (fold, "heads_of", _equals_merged, ANSWERS_LOST),
    "the better answer is shown": (fold, "heads_of", _best_shown, "a better answer is shown"),
    "changed content passes": (taking, "dedupe_hash", lambda _: ANY, "changed content was taken"),
    "numbers may be left out": (taking.Taking, "_outcome", _unordered, "a number was left out"),
    "numbers run back": (record, "NextNumber", _number_backwards, "read in another order"),
    "the clock is believed": (taking, "estimate", _clock_alone, "wrong and called good"),
    "the stopwatch is believed": (taking, "estimate", _stopwatch_alone, "wrong and called good"),
}


@pytest.mark.once
@pytest.mark.parametrize("name", BROKEN)
def test_the_machine_sees_a_broken_rule(name: str, building: Building, monkeypatch: Any) -> None:
    where, what, broken, seen_as = BROKEN[name]
    monkeypatch.setattr(where, what, broken)
    with pytest.raises(AssertionError, match=seen_as):
        search(building, RUNS, steps=20, most_made=8)
