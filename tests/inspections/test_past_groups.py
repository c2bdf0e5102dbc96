"""The history page of a pump: what changes first, its net pressure, the rest by noun, in words."""

import re
from datetime import date

import pytest

from inspections import past, past_groups
from tests.inspections.test_drawn_tests import of_points, pump, recorded  # noqa: F401
from tests.inspections.test_past import clock, drains  # noqa: F401

pytestmark = pytest.mark.django_db
GROUP = re.compile(r'<details class="sheet past-group"( open)?><summary class="sec"><h2>([^<]+)')


def flowed(scene, item, worn_psi=2.0, years=range(2016, 2026)):
    """Record a flow test a year of a pump that loses so many psi a year; voltage and all."""
    for place, year in enumerate(years):
        lost = worn_psi * place
        read = of_points(
            {
                "churn": (0, 60, 172 - lost, 1780 + place % 2),
                "rated": (1000 + 3 * (place % 4), 55, 153 - lost, 1779),
                "peak": (1500 - 5 * (place % 3), 50, 122 - lost, 1778),
            }
        )
        read = [one for one in read if (one[0], one[3]) != ("flow", "churn")]
        read += [("voltage", 460 + place % 3, "V", point) for point in ("churn", "rated", "peak")]
        recorded(scene, item, "fp-annual-flow", date(year, 6, 3), read)


def page_of(client, item, **headers):
    return client.get(f"/systems/{item.pk}/history/", headers=headers).content.decode()


def test_net_pressure_is_brought_to_rated_speed_and_kept_at_95_percent_of_the_first(ours, pump):  # noqa: F811
    flowed(ours, pump)
    with ours.scope():
        found = past.of_item(pump)
    line = found.line("net_pressure", "rated")
    # By hand: 153 - 55 = 98 psi at 1779 rpm are 98 * (1780/1779)^2 = 98.11 at 1780.
    assert line.given.points[0].value / 6894.757 == pytest.approx(98.11, abs=0.01)
    assert line.limit_words == "at least 93 psi"
    assert (line.trend.verdict, line.trend.change) == ("fail", "slope")
    # Two flows at the steep end of a curve never compare.
    assert found.line("net_pressure", "peak").trend.limit is None


def test_without_a_speed_there_is_no_net_pressure(ours, pump):  # noqa: F811
    read = [one for one in of_points({"churn": (0, 60, 172, 1780)}) if one[0] != "speed"]
    recorded(ours, pump, "fp-annual-flow", date(2025, 6, 3), read)
    with ours.scope():
        assert past.of_item(pump).line("net_pressure", "churn") is None


def test_the_line_beyond_its_limit_stands_first_and_the_rest_by_noun(ours, as_manager, pump):  # noqa: F811
    flowed(ours, pump)
    page = page_of(as_manager, pump)
    first, newest = page.index('id="lead"'), page.index('id="tested"')
    groups = page.index("past-groups")
    assert first < newest < groups
    assert "Net pressure, churn" in page[first:newest]
    titles = GROUP.findall(page)
    assert [title for _is_open, title in titles] == [
        "Net pressure",
        "Suction and discharge",
        "Speed",
        "Electrical",
        "Flow",
    ]
    # Only the first group stands open where the screen is narrow.
    assert [bool(is_open) for is_open, _title in titles] == [True, False, False, False, False]


def test_each_kind_has_one_small_picture_with_words_and_one_table_of_its_points(
    ours,
    as_manager,
    pump,  # noqa: F811
):
    flowed(ours, pump)
    page = page_of(as_manager, pump)
    small = re.findall(r'<img src="([^"]+/years/(\w+)\.svg)"[^>]* alt="([^"]+)"', page)
    assert sorted(name for _url, name, _alt in small) == [
        "discharge_pressure",
        "flow",
        "net_pressure",
        "speed",
        "suction_pressure",
        "voltage",
    ]
    assert all(len(alt) > 40 for _url, _name, alt in small)
    answer = as_manager.get(small[0][0])
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/svg+xml")
    heads = re.findall(r'<th scope="col">Day</th>(.*?)<th scope="col">Not used', page)
    assert '<th scope="col">churn</th><th scope="col">rated</th><th scope="col">peak</th>' in heads
    assert page.count("30 readings in numbers") == 5
    with ours.scope():
        assert as_manager.get(f"/systems/{pump.pk}/years/nothing.svg").status_code == 404


def test_where_nothing_changes_the_newest_test_stands_first(ours, as_manager, pump):  # noqa: F811
    flowed(ours, pump, worn_psi=0.0, years=range(2023, 2026))
    page = page_of(as_manager, pump)
    assert 'id="lead"' not in page
    assert page.index('id="tested"') < page.index("past-groups")
    assert "too few readings for a trend" in page


def test_a_riser_with_few_readings_folds_nothing(ours, as_manager):
    drains(ours, [72, 71, 70, 69, 68, 67, 66, 65, 64, 63])
    page = as_manager.get(f"/risers/{ours.wet_riser.pk}/history/").content.decode()
    assert [bool(is_open) for is_open, _title in GROUP.findall(page)] == [True]
    assert page.count("/years/static_pressure.svg") == 1
    # What stands large above is not repeated.
    assert "/years/residual_pressure.svg" not in page


def test_another_contractors_small_picture_is_not_there(ours, theirs, as_manager):
    drains(theirs, [72, 71])
    address = f"/risers/{theirs.wet_riser.pk}/years/residual_pressure.svg"
    assert as_manager.get(address).status_code == 404


def test_what_is_not_used_stands_in_the_table_with_its_point(ours, pump):  # noqa: F811
    flowed(ours, pump, years=range(2023, 2026))
    with ours.scope():
        event = pump_event(pump, "speed", "rated", 2025)
        told = past._Told({event: "instrument at fault"}, past.Splits([pump]))
        rows = list(past.Reading.objects.filter(subject_id=pump.pk).order_by("read_on", "id"))
        for row in rows:
            row.visit.building = pump.building
        found = past._past(pump, rows, told, ())
    kinds = {kind.name: kind for kind in past_groups.kinds(found)}
    for name in ("speed", "net_pressure"):
        newest = kinds[name].rows()[0]
        assert (newest.on, newest.not_used) == (date(2025, 6, 3), "rated: instrument at fault")
    assert kinds["voltage"].rows()[0].not_used == ""


def pump_event(item, name, point, year):
    rows = past.Reading.objects.filter(subject_id=item.pk, name=name, point=point)
    return rows.get(read_on__year=year).event_id


def test_pictures_of_a_spanish_page_say_spanish_words(ours, as_manager, pump):  # noqa: F811
    flowed(ours, pump, years=range(2023, 2026))
    spanish = {"accept-language": "es"}
    page = page_of(as_manager, pump, **spanish)
    assert '<th scope="col">Presión neta, psi</th>' in page
    assert "<td>95.0</td>" in page
    address = f"/systems/{pump.pk}/tested.svg"
    english, other, narrow = (
        as_manager.get(address + query, headers=said).content
        for query, said in (("", {}), ("", spanish), ("?narrow", {}))
    )
    assert len({english, other, narrow}) == 3
    assert (b'width="720"' in english, b'width="360"' in narrow) == (True, True)
