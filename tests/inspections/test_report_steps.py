"""The trip test in the report: action, expected, seen, time and a verdict on each step."""

import pytest

from inspections import mismatches, pdf, report
from tests.inspections.test_visit_pages import entry, visit, work  # noqa: F401

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("expected", "seen", "odd"),
    [
        ({"signals": "low_air, tamper"}, {"signals": "tamper, low_air"}, []),
        ({"signals": ["low_air", "tamper"]}, {"signals": "tamper, low_air"}, []),
        ({"signals": ["low_air"]}, {"signals": ["low_air", "waterflow"]}, ["waterflow"]),
        ({"signals": "low_air"}, {"signals": "none"}, ["low_air"]),
        ({"gauge_prime_psi": "100.0"}, {"gauge_prime_psi": "98.5"}, []),
        ({"gauge_prime_psi": "0.0"}, {"gauge_prime_psi": "100.0"}, ["gauge_prime"]),
        ({"gauge_prime_psi": 100}, {"gauge_prime_psi": "103"}, []),
        ({"gauge_prime_psi": "100"}, {"trip_seconds": "12"}, []),
        ({"gauge_prime_psi": "100"}, {"gauge_prime_psi": "unread"}, []),
    ],
)
def test_neither_the_order_of_signals_nor_half_a_division_is_a_mismatch(expected, seen, odd):
    payload = {"step": "detection", "expected": expected, "seen": seen}
    assert [one.name for one in mismatches.of_step(payload)] == odd


@pytest.mark.parametrize(
    ("seen", "deviation", "verdict"),
    [
        ({"supervisory": True, "air_psi": "17"}, False, "as expected"),
        ({"supervisory": False, "air_psi": "18"}, False, "not as expected"),
        ({"air_psi": "18"}, False, "not all seen"),
        ({"supervisory": True}, True, "out of order"),
        ({"supervisory": True, "air_psi": "30"}, False, "not as expected"),
    ],
)
def test_a_step_has_its_verdict_in_facts_and_pdf(ours, visit, seen, deviation, verdict):  # noqa: F811
    step = entry(
        ours, visit, "step.add", device=str(ours.devices["preaction_valve"].pk), step="lose-air",
        action="bleed_air", expected={"supervisory": True, "air_psi": "18"}, seen=seen,
        deviation=deviation, reason="Valve stuck" if deviation else None,
    )  # fmt: skip
    work(ours, visit, step)
    with ours.scope():
        facts = report.facts(visit, 1, "code")
    (told,) = [one for system in facts["systems"] for one in system["steps"]]
    assert told["verdict"] == verdict
    assert pdf.render(facts, "{}", {}).startswith(b"%PDF")


def guided(ours, visit, step, expected, seen):  # noqa: F811
    return entry(
        ours, visit, "step.add", device=str(ours.devices["preaction_valve"].pk), step=step,
        action=step, expected=expected, seen=seen, deviation=False,
    )  # fmt: skip


def test_the_office_sees_what_a_mismatch_points_to_beside_it(ours, visit, as_manager):  # noqa: F811
    found = {"gauge_supply_psi": "90.0", "gauge_system_psi": "10.0", "gauge_prime_psi": "90.0"}
    prime = {"gauge_prime_psi": "90.0", "signals": "low_air"}
    work(
        ours,
        visit,
        guided(ours, visit, "as_found", found, found),
        guided(ours, visit, "lose_air", prime, {"gauge_prime_psi": "63.0", "signals": "low_air"}),
    )
    page = as_manager.get(f"/visits/{visit.pk}/").content.decode()
    assert page.count("Likely faults") == 1
    assert "none is proven" in page
    assert "Solenoid leaking" in page
    assert "They fit only if it began at this step." in page
    assert "tells these apart" in page
    assert "Only this fits" not in page
