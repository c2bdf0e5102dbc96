"""The committed ES module says what the Python modules say, in a real browser."""

import functools
import http.server
import random
import threading

import pytest

from inspections import portable
from inspections.sequence import compile as compiler
from inspections.sequence.acts import EFFECTS, FAULTS
from inspections.sequence.checks import ambiguity_groups, next_checks
from inspections.sequence.constraints import take, warnings_before
from inspections.sequence.diagnosis import Record, diagnose
from inspections.sequence.guide import compare, guide, next_steps
from inspections.sequence.motion import advance, seconds_until
from inspections.sequence.observe import observe
from inspections.sequence.pointing import Done, pointed
from inspections.sequence.ready import end_state
from inspections.sequence.state import NORMALLY_OPEN, NORMALLY_SHUT, Action, normal_state
from inspections.sequence.steps import tasks_of
from inspections.sequence.types import TYPES, make_config
from inspections.sequence.words import word

SCRIPTS = "default-src 'none'; script-src 'self'; connect-src 'self'"
VARIANTS = [
    {},
    {"solenoid": "latching", "reclose": "self_reclosing", "zones_required": 2},
    {"solenoid": "NO", "prime_source": "downstream", "supv_latching": False, "supply": 62.5},
]
STEPS = 20


class _Files(http.server.SimpleHTTPRequestHandler):
    def end_headers(self):
        self.send_header("Content-Security-Policy", SCRIPTS)
        super().end_headers()

    def log_message(self, *arguments):
        pass


@pytest.fixture
def module(browser):
    """A page whose only script is the compiled module, under the policy of the service."""
    handler = functools.partial(_Files, directory=compiler.OUT.parent)
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}/sequence.js")
        yield lambda script, given: page.evaluate(
            "async (given) => { const m = {...await import('/sequence.js'),"
            f" ...await import('/faults.js')}}; {script} }}",
            given,
        )
        page.close()
        server.shutdown()
        thread.join()


def plain(value):
    """Records as JSON has them."""
    if hasattr(value, "_asdict"):
        return {key: plain(each) for key, each in value._asdict().items()}
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return value


def any_action(rng):
    usual = ["wait", "settle", "open", "close", "control_valve", "detector_alarm", "panel_reset"]
    return Action(
        rng.choice([*EFFECTS, *usual]),
        what=rng.choice([*NORMALLY_OPEN, *NORMALLY_SHUT]),
        pct=rng.choice([0.0, 0.0, 10.0, 33.0, 79.0, 100.0]),
        rate=rng.choice(["slow", "fast"]),
        zone=rng.choice(["z1", "z2"]),
        psi=rng.choice([0.0, 50.0, 100.0, 250.0]),
        on=rng.random() < 0.5,
        fault=rng.choice(FAULTS),
        s=rng.choice([1.0, 7.3, 40.0, 250.0]),
    )


def walks():
    rng = random.Random(20)
    for system_type in TYPES:
        for overrides in VARIANTS:
            actions = [any_action(rng) for _ in range(STEPS)]
            yield system_type, overrides, actions


def walked(system_type, overrides, actions):
    config = make_config(system_type, overrides)
    state = normal_state(config)
    for action in actions:
        warnings = warnings_before(config, state, action)
        state = take(config, state, action).state
        yield plain(
            {
                "state": state,
                "later": advance(config, state, 12.5),
                "seen": observe(config, state),
                "warnings": warnings,
                "items": end_state(config, state, [1, 9, 19]),
                "tamper": seconds_until(config, state, "low_air"),
            }
        )


WALK = """
return given.map(([type, overrides, actions]) => {
  const config = m.make_config(type, overrides);
  let state = m.normal_state(config);
  return actions.map((action) => {
    const warnings = m.warnings_before(config, state, action);
    state = m.take(config, state, action).state;
    return {state, later: m.advance(config, state, 12.5), seen: m.observe(config, state), warnings,
      items: m.end_state(config, state, [1, 9, 19]),
      tamper: m.seconds_until(config, state, "low_air")};
  });
});
"""


@pytest.mark.parametrize(
    ("compiled", "out"),
    [
        (compiler.compiled, compiler.OUT),
        (compiler.compiled_faults, compiler.OUT_FAULTS),
        (portable.runtime, portable.RUNTIME),
    ],
)
def test_the_committed_module_is_current(compiled, out):
    assert compiled() == out.read_text("utf-8"), f"run python -m {compiled.__module__}"


@pytest.mark.parametrize("out", [compiler.OUT, compiler.OUT_FAULTS, portable.RUNTIME])
def test_the_module_builds_no_code_from_text(out):
    text = out.read_text("utf-8")

    assert "eval(" not in text
    assert "Function(" not in text.replace("_pyfunc", "")


def test_browser_and_server_walk_to_the_same_states(module):
    chosen = list(walks())
    given = [
        [system_type, overrides, [plain(action) for action in actions]]
        for system_type, overrides, actions in chosen
    ]

    seen = module(WALK, given)

    compared = 0
    for walk, steps in zip(chosen, seen, strict=True):
        for number, (ours, theirs) in enumerate(zip(walked(*walk), steps, strict=True)):
            assert theirs == ours, f"{walk[0]} {walk[1]} step {number}: {walk[2][number]}"
            compared += 1
    assert compared >= 500


def test_browser_and_server_give_the_same_guide(module):
    risers = [(t, overrides) for t in TYPES for overrides in VARIANTS]

    seen = module(
        """
        return given.map(([type, overrides]) => {
          const config = m.make_config(type, overrides);
          return m.tasks_of(config).map((task) => [m.guide(config, task),
            m.next_steps(config, task, m.normal_state(config), ["as_found", "permissions"])]);
        });
        """,
        [list(riser) for riser in risers],
    )

    for (system_type, overrides), theirs in zip(risers, seen, strict=True):
        config = make_config(system_type, overrides)
        ours = [
            [
                guide(config, task),
                next_steps(config, task, normal_state(config), ["as_found", "permissions"]),
            ]
            for task in tasks_of(config)
        ]
        assert theirs == plain(ours), system_type


def test_browser_and_server_come_to_the_same_diagnosis(module):
    acts = [Action("open", what="test_connection"), Action("settle")]
    seen = [{"panel": "normal"}, {}, {"signals": ["low_air"], "gong": False}]
    seen[2]["gauge_supply"] = {"approx": 100, "tol": 2}
    wet = [{}, {}, {"signals": {"lacks": ["waterflow"]}, "flow_test_connection": "water"}]
    records = [(t, seen if t.startswith("dry") else wet) for t in TYPES]
    given = [[t, plain(Record(acts, looked, {}))] for t, looked in records]

    theirs = module(
        """
        return given.map(([type, record]) => {
          const config = m.make_config(type, {});
          const found = m.diagnose(config, record, 2);
          const seen = m.recorded({gauge_prime_psi: "12.5", signals: "none", trip_seconds: "9"});
          return [found, m.next_checks(config, found.explanations, record.seen[2]),
            m.ambiguity_groups(config, found.explanations),
            m.pointed(config, [{code: "as_found", seen}], {}, 1)];
        });
        """,
        given,
    )

    explained = 0
    for (system_type, looked), answer in zip(records, theirs, strict=True):
        config = make_config(system_type, {})
        found = diagnose(config, Record(acts, looked, {}), 2)
        checks = next_checks(config, found.explanations, looked[2])
        groups = ambiguity_groups(config, found.explanations)
        steps = [Done("as_found", {"gauge_prime": 12.5, "signals": []})]
        at_once = pointed(config, steps, {}, 1)
        assert answer == plain([found, checks, groups, at_once]), system_type
        explained += len(found.explanations)
    assert explained > 30


def test_browser_and_server_refuse_and_compare_alike(module):
    expected = {"gauge_prime": 0.0, "signals": ["waterflow"], "water_in_piping": True}
    looked = {"gauge_prime": 88.0, "signals": ["low_air"], "water_in_piping": True}

    seen = module(
        """
        let refusal = "";
        try { m.make_config("dry", {ratio: 0}); } catch (error) { refusal = error.message; }
        return [m.compare(given.expected, given.looked), refusal, m.word("es", "rule.C9")];
        """,
        {"expected": expected, "looked": looked},
    )

    with pytest.raises(ValueError, match="ratio") as refused:
        make_config("dry", {"ratio": 0})
    assert seen[0] == plain(compare(expected, looked))
    assert seen[1].endswith(str(refused.value))
    assert seen[2] == word("es", "rule.C9")
