"""The practice bench: exercises set, runs scored by the model, and the training record."""

from datetime import timedelta
from itertools import pairwise

import pytest
from django.utils import timezone, translation

from config.management.commands import load_demo
from contractors.models import Licence, Person
from inspections import licensed, practising
from inspections.models import PracticeRun
from inspections.practice import bench, score
from inspections.practice.faults import drill_of, faults_of, twins_of
from inspections.sequence.constraints import take
from inspections.sequence.types import TYPES, make_config

EXERCISES = "/api/v1/practice/exercises/"


def drilled(config):
    """Return a whole drill as codes of the bench."""
    codes = {deed.action: code for code, deed in bench.deeds_of(config).items()}
    return [codes[action] for action in drill_of(config)]


def noticing(config, run):
    """Return every sight of a run, by the number of its act."""
    views = [bench.view(config, state) for state in score.walk(config, run).states]
    pairs = pairwise(views)
    return {n: bench.sights(was, now) for n, (was, now) in enumerate(pairs, start=1)}


def guided(config, task):
    codes = {deed.action: code for code, deed in bench.deeds_of(config).items()}
    return [codes[action] for _step, acts in score.guided_steps(config, task) for action in acts]


@pytest.mark.parametrize("system_type", TYPES)
def test_a_hidden_fault_is_found_by_a_drill_up_to_its_twins(system_type):
    config = make_config(system_type, {})
    acts = drilled(config)

    assert len(faults_of(config)) >= 6
    for fault in faults_of(config)[::8]:
        run = score.Run(bench.FIND_FAULT, fault, acts, {}, fault)
        found = score.score(config, run)["diagnosis"]
        assert found["verdict"] == score.RIGHT, fault
        assert fault in found["group"]
        assert set(found["group"]) <= set(twins_of(config, fault))
    sound = score.Run(bench.FIND_FAULT, "", acts, {}, score.NO_FAULT)
    assert score.score(config, sound._replace(noted=noticing(config, sound)))["passed"]


@pytest.mark.parametrize("system_type", TYPES)
@pytest.mark.parametrize("task", [bench.RESTORATION, bench.TRIP_TEST])
def test_a_run_by_the_guide_passes_when_it_was_watched(system_type, task):
    config = make_config(system_type, {})
    run = score.Run(task, "", guided(config, task), {}, "")
    watched = run._replace(noted=noticing(config, run))

    found = score.score(config, watched)
    assert found["passed"]
    assert found["guided"]["left_out"] == []
    blind = score.score(config, run)
    assert blind["reached"]
    assert not blind["passed"]


@pytest.mark.parametrize("system_type", TYPES)
def test_a_drill_on_a_sound_riser_breaks_no_order_rule(system_type):
    config = make_config(system_type, {})
    state = bench.start_of(config, bench.TRIP_TEST)

    for action in drill_of(config):
        taken = take(config, state, action)
        assert taken.warnings == []
        state = taken.state


def test_no_verdict_is_given_for_what_the_acts_have_not_shown():
    config = make_config("preaction_single_electric", {})
    idle = score.Run(bench.FIND_FAULT, "", ["wait:10"], {}, score.NO_FAULT)
    hidden = idle._replace(fault="tamper_switch_failed", claim="tamper_switch_failed")

    assert score.score(config, idle)["diagnosis"]["verdict"] == score.UNPROVEN
    assert not score.score(config, idle)["passed"]
    assert score.score(config, hidden)["diagnosis"]["verdict"] == score.UNPROVEN
    seen = hidden._replace(acts=["control_valve:0", "settle"], claim="air_leak_slow")
    assert score.score(config, seen)["diagnosis"]["verdict"] == score.WRONG
    assert score.score(config, seen)["diagnosis"]["contradicted"] == 0
    assert score.score(config, hidden._replace(claim=""))["diagnosis"]["verdict"] == score.SILENT


def test_a_fault_named_while_others_are_left_is_named_too_early():
    config = make_config("preaction_single_electric", {})
    leak = "solenoid_leaking_badly"
    acts = ["detector_alarm:z1", "settle"]
    found = score.score(config, score.Run(bench.FIND_FAULT, leak, acts, {}, leak))

    assert found["diagnosis"]["verdict"] == score.TOO_EARLY
    assert found["diagnosis"]["group"] == [leak, "pressure_relief_stuck_open"]
    assert not found["passed"]


def test_an_unsafe_act_is_named_with_its_reason_and_fails_the_run(ours):
    with ours.scope(), translation.override("en"):
        exercise = practising.set_exercise(system_type="dry", task="restoration", by=ours.trainer)
        run = practising.hand_in(
            exercise, acts=["reset_clapper"], noted={}, claim="", by=ours.technician
        )
        order, _noticed, left = practising.said_of(run)

    assert not run.passed
    assert run.granted_on is None
    assert not order.good
    assert order.sentences[0].startswith("Act 1, System valve: set the clapper by hand: ")
    assert "The riser was not left normal." in left.sentences


def find(ours, fault="solenoid_stuck_closed", **given):
    with ours.scope():
        return practising.set_exercise(
            system_type="preaction_single_electric",
            task="find_fault",
            fault=fault,
            by=ours.trainer,
            **given,
        )


def hand_in(client, exercise, key="k", **body):
    return client.post(f"{EXERCISES}{exercise.pk}/runs/", body, HTTP_IDEMPOTENCY_KEY=key)


FOUND = {
    "acts": ["detector_alarm:z1", "settle"],
    "noted": {"1": ["solenoid_energised:on"]},
    "claim": "solenoid_stuck_closed",
}


def test_a_run_is_scored_by_the_service_whatever_the_client_says_of_it(api, ours):
    exercise, client = find(ours), api(ours.technician)
    boast = {"passed": True, "score": {"passed": True}, "granted_on": "2020-01-01"}
    failed = hand_in(client, exercise, acts=["settle"], claim="solenoid_stuck_closed", **boast)
    passed = hand_in(client, exercise, key="k2", **FOUND)
    again = hand_in(client, exercise, key="k2", **FOUND)

    assert failed.status_code == passed.status_code == again.status_code == 201
    assert failed.data["passed"] is False
    assert failed.data["granted_on"] is None
    assert "fault" not in failed.data["score"]["diagnosis"]
    assert passed.data["passed"] is True
    assert passed.data["granted_on"] is not None
    assert passed.data["sentences"][2]["good"]
    with ours.scope():
        assert PracticeRun.objects.count() == 2


def test_a_passed_run_lets_a_trainer_release_its_person_to_preaction(api, as_member, ours):
    exercise, person = find(ours), ours.people["technician"]
    day = timezone.localdate()
    done = hand_in(api(ours.technician), exercise, **FOUND).data
    address, until = f"/api/v1/practice/runs/{done['id']}/release/", day + timedelta(days=365)
    with ours.scope():
        building = ours.building
        person.licences.filter(kind="preaction").delete()
        Licence.objects.create(
            person=ours.people["trainer"], kind="preaction", valid_from=day, valid_until=until
        )
        # The contractor keeps releases, and practice alone sends nobody.
        with pytest.raises(licensed.NotQualified):
            licensed.check([person], {"preaction"}, day, building)

    def ask(member, key, last):
        return api(member).post(address, {"valid_until": last}, HTTP_IDEMPOTENCY_KEY=key)

    assert ask(ours.technician, "r", until).status_code == 403
    assert ask(ours.trainer, "r", day).status_code == 400
    assert {ask(ours.trainer, "r2", until).status_code for _again in (1, 2)} == {201}
    assert ask(ours.trainer, "r3", until).status_code == 400
    with ours.scope():
        assert person.licences.filter(kind="preaction").count() == 1
        licensed.check([Person.objects.get(pk=person.pk)], {"preaction"}, day, building)
    page = as_member(ours.trainer).get("/people/").content.decode()
    assert "Preaction, single interlock, electric, find a hidden fault</a>" in page


def test_nobody_is_released_by_a_failed_run_by_another_type_or_by_themselves(api, ours):
    failed = hand_in(api(ours.technician), find(ours), acts=["settle"], claim="battery_dead")
    own = hand_in(api(ours.trainer), find(ours), key="k2", **FOUND)
    until = {"valid_until": timezone.localdate() + timedelta(days=365)}

    for number, run in enumerate((failed, own)):
        answer = api(ours.trainer).post(
            f"/api/v1/practice/runs/{run.data['id']}/release/",
            until,
            HTTP_IDEMPOTENCY_KEY=f"r{number}",
        )
        assert answer.status_code == 409
        assert answer.json()["code"] == "not_to_release"


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ({"acts": []}, "acts"),
        ({"acts": ["open:moon"]}, "acts: open:moon is not accepted. control_valve:0, "),
        ({"acts": ["settle"], "claim": "qod_failed"}, "claim: qod_failed is not accepted. none, "),
        (
            {"acts": ["settle"], "noted": {"1": ["gauge_moon:fell"]}},
            "noted: gauge_moon:fell is not accepted. gauge_supply:fell, ",
        ),
        ({"acts": ["settle"], "noted": {"7": ["gong:on"]}}, "noted: 7 is not accepted. the number"),
        ({"acts": ["settle"], "noted": {"first": ["gong:on"]}}, "noted: first is not accepted."),
        ({"acts": ["settle"] * 401}, "acts"),
    ],
)
def test_a_run_that_cannot_be_done_is_refused_with_its_field(api, ours, body, named):
    answer = hand_in(api(ours.technician), find(ours), **body)

    assert answer.status_code == 400
    assert named in answer.content.decode()


def test_the_exercises_of_the_demo_can_be_set(ours):
    with ours.scope():
        for system_type, task, fault in load_demo.EXERCISES:
            practising.set_exercise(
                system_type=system_type, task=task, fault=fault, by=ours.trainer
            )


def test_the_page_of_the_bench_carries_the_hidden_fault_in_no_words(as_technician, ours):
    exercise = find(ours, fault="solenoid_stuck_closed")
    page = as_technician.get(f"/practice/{exercise.pk}/").content.decode()
    sound = find(ours, fault="")
    of_sound = as_technician.get(f"/practice/{sound.pk}/").content.decode()

    # It is one of the faults to choose from, and nothing sets it apart from the others.
    for code in ("solenoid_stuck_closed", "battery_dead"):
        assert page.count(code) == of_sound.count(code) == 2
    assert len(page) == len(of_sound)


def test_an_exercise_for_one_person_is_nobody_elses_and_its_fault_is_told_to_setters(api, ours):
    for_trainer = find(ours, person=ours.people["trainer"])
    for_all = find(ours, fault="battery_dead")

    seen = api(ours.technician).get(EXERCISES).data["results"]
    assert [(one["id"], one["fault"]) for one in seen] == [(str(for_all.pk), None)]
    told = api(ours.trainer).get(EXERCISES).data["results"]
    assert {one["id"]: one["fault"] for one in told} == {
        str(for_trainer.pk): "solenoid_stuck_closed",
        str(for_all.pk): "battery_dead",
    }
    assert hand_in(api(ours.technician), for_trainer, **FOUND).status_code == 404
    whole = api(ours.technician).get(f"{EXERCISES}{for_all.pk}/").data
    assert whole["acts"]["open:inlet_drain"] == "Main drain: open it"
    assert "battery_dead" in whole["claims"]


def test_a_trainer_sets_an_exercise_and_a_fault_that_does_not_fit_is_refused(as_member, ours):
    trainer = as_member(ours.trainer)
    form = {"system_type": "dry", "task": "find_fault", "fault": "qod_failed", "once": "a"}
    refused = trainer.post("/practice/new/", form)
    assert refused.status_code == 422
    assert "Slow air leak" in refused.context["form"].errors["fault"][0]
    assert trainer.post("/practice/new/", {**form, "system_type": "dry_qod"}).status_code == 302
    assert "Quick-opening device failed" in trainer.get("/practice/").content.decode()

    technician = as_member(ours.technician)
    page = technician.get("/practice/").content.decode()
    assert "Dry, with quick-opening device" in page
    assert "Quick-opening device failed" not in page
    assert technician.post("/practice/new/", form).status_code == 403


def test_the_record_of_a_run_says_what_was_done_noticed_and_missed(api, as_technician, ours):
    marks = {"2": ["gauge_prime:fell", "solenoid_energised:on"]}
    done = hand_in(api(ours.technician), find(ours), **{**FOUND, "noted": marks})
    page = as_technician.get(done.data["url"]).content.decode()

    assert "Found: Solenoid stuck shut." in page
    assert "Marked, but did not happen: Prime gauge fell" in page
    assert "not a licence" in page


def test_an_exercise_that_is_taken_off_keeps_its_runs(api, as_member, ours):
    exercise = find(ours)
    done = hand_in(api(ours.technician), exercise, **FOUND)
    trainer = as_member(ours.trainer)

    assert trainer.post(f"/practice/{exercise.pk}/withdraw/", {"once": "b"}).status_code == 302
    assert trainer.get(f"/practice/{exercise.pk}/").status_code == 404
    assert trainer.get(done.data["url"]).status_code == 200
