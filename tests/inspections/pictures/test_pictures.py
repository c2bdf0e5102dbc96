"""Pictures of data: the same bytes, small, readable in words and numbers, light and dark."""

import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree as ET

import pytest

from inspections.pictures import canvas, history, pump, supply, tested, trip
from inspections.pictures.reader import WORDS, Reader

SVG = "{http://www.w3.org/2000/svg}"
XLINK = "{http://www.w3.org/1999/xlink}href"
HISTORY = history.History(
    "Residual pressure, riser 2",
    "psi",
    "Falls steadily & crosses 55 psi.",
    [(date(2016 + i, 3, 1), 70.0 - 1.3 * i, f"{70 - 1.3 * i:.0f} psi") for i in range(9)],
    [(date(2019, 5, 1), 40.0, "40 psi", "drain not fully open")],
    (55.0, "least 55 psi"),
    [history.Line((date(2016, 3, 1), date(2024, 3, 1)), (70.0, 59.6))],
    history.Line((date(2024, 3, 1), date(2028, 3, 1)), (59.6, 54.4), (59.0, 53.0), (60.0, 56.0)),
    date(2027, 9, 1),
)
SUPPLY = tested.Supply("Supply", "Margin.", "psi", "gpm", 82, 61, 1200, (850, 55), 250)
PUMP = tested.Pump(
    "Pump", "Keeps.", "psi", "gpm", (1000, 100), [(0, 118), (1000, 101), (1500, 74)],
    [(0, 113), (980, 96), (1470, 70)], [(0, 121), (1000, 104), (1500, 78)],
)  # fmt: skip
TRIP = tested.Trip(
    "Trip", "Water in 51 s.",
    [tested.Run("2026", [("trip", 24), ("water", 51)]), tested.Run("2023", [("trip", 21)])],
    (60.0, "at most 60 s"),
)  # fmt: skip
ALL = {"history": (history, HISTORY), "supply": (supply, SUPPLY), "pump": (pump, PUMP),
       "trip": (trip, TRIP)}  # fmt: skip


@pytest.fixture(params=list(ALL))
def picture(request):
    module, given = ALL[request.param]
    return module.draw(given)


def test_a_picture_says_its_words_and_its_numbers(picture):
    root = ET.fromstring(picture.svg)
    assert root.find(f"{SVG}title").text == picture.title
    assert root.find(f"{SVG}desc").text == picture.words
    assert root.get("role") == "img"
    assert len(picture.rows) >= 3
    assert {len(row) for row in picture.rows} == {len(picture.head)}


def test_a_picture_is_small_and_brings_no_style_that_a_page_forbids(picture):
    assert len(picture.svg.encode()) <= 40_000
    assert " style=" not in picture.svg
    assert "<script" not in picture.svg
    assert not re.search(r"\d{4}-\d\d-\d\dT", picture.svg)
    assert 'href="http' not in picture.svg


def test_every_colour_has_its_counterpart_in_the_dark(picture):
    plain = re.sub(r"<style>.*?</style>", "", picture.svg)
    used = set(re.findall(r'(?:fill|stroke)="(#[0-9a-f]{6})"', plain))
    assert used
    assert used <= set(canvas.DARK)
    for colour in used:
        assert f'[fill="{colour}"]{{fill:{canvas.DARK[colour]}}}' in picture.svg


def test_a_column_of_remarks_stands_only_where_there_are_some():
    _module, given = ALL["history"]
    assert history.draw(given).head == ("Day", "Reading", "Remark")
    plain = history.draw(replace(given, left_out=()))
    assert plain.head == ("Day", "Reading")
    assert {len(row) for row in plain.rows} == {2}


def test_another_process_draws_the_same_bytes():
    code = "from tests.inspections.pictures.test_pictures import ALL\n"
    code += "print(*(m.draw(g).svg for m, g in ALL.values()), sep='', end='')"
    env = {**os.environ, "PYTHONHASHSEED": "7", "PYTHONWARNINGS": "ignore"}
    made = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env
    )
    assert made.stdout == "".join(module.draw(given).svg for module, given in ALL.values())


ABREAST = history.Abreast(
    "Net pressure",
    "psi",
    "Slides.",
    [(name, HISTORY.points) for name in ("churn", "rated")],
    {"churn": 55.0},
)


class Asked(dict):
    """Says every word longer, and keeps which were asked for."""

    def __init__(self):
        super().__init__()
        self.words = set()

    def get(self, word, default):
        self.words.add(word)
        return f"<{word}> said longer"


def drawn_for(reader):
    uncorrected = replace(PUMP, corrected=False)
    without_hose = replace(SUPPLY, hose=0.0)
    return [
        *(module.draw(given, reader) for module, given in ALL.values()),
        pump.draw(uncorrected, reader),
        supply.draw(without_hose, reader),
        history.draw_abreast(ABREAST, reader),
    ]


def test_every_word_of_a_picture_is_one_that_can_be_said_otherwise():
    asked = Asked()
    made = drawn_for(Reader(asked))
    assert asked.words == set(WORDS)
    heads = [word for picture in made for word in picture.head if word]
    assert all("said longer" in word for word in heads)


@pytest.mark.parametrize("is_narrow", [True, False])
def test_names_too_long_for_one_row_stand_in_more(is_narrow):
    for made in drawn_for(Reader(Asked(), is_narrow)):
        root = ET.fromstring(made.svg)
        wide = float(root.get("viewBox").split()[2])
        legend = next(part for part in root.iter() if part.get("id", "").startswith("legend"))
        for part in legend.iter(f"{SVG}g"):
            moved = re.match(r"translate\(([-\d.]+)", part.get("transform", ""))
            assert moved is None or 0.0 <= float(moved[1]) < wide


def test_a_narrow_picture_is_half_as_wide():
    reader = Reader(is_narrow=True)
    sizes = {
        module.draw(given, reader).svg.split(" width=")[1][:5] for module, given in ALL.values()
    }
    assert sizes == {'"360"'}


def test_points_abreast_are_drawn_small_with_their_numbers():
    made = history.draw_abreast(ABREAST)
    assert made.head == ("Day", "Point", "Reading")
    assert ("2016-03-01", "rated", "70 psi") in made.rows
    assert len(made.rows) == 18
    assert 'width="360" height="220"' in made.svg
    assert made.svg == history.draw_abreast(ABREAST).svg


def test_a_supply_is_a_straight_line_through_its_flow_test():
    # On the N^1.85 scale: static and flow test are marks, the supply ends on their line.
    root = ET.fromstring(supply.draw(SUPPLY).svg)
    ends = [
        [tuple(map(float, p.split())) for p in re.findall(r"[ML]([-\d. ]+)", path.get("d"))]
        for path in root.iter(f"{SVG}path")
        if path.get("stroke") == canvas.WATER and path.get("stroke-width") == "2"
    ]
    line = next(points for points in ends if abs(points[0][0] - points[1][0]) > 200)
    marks = [
        (float(u.get("x")), float(u.get("y")))
        for u in root.iter(f"{SVG}use")
        if u.get("fill") == canvas.WATER and u.get("x") and not u.get(XLINK).startswith("#a-")
    ]
    (x0, y0), (x1, y1) = line[0], line[-1]
    on_line = [abs((y1 - y0) * (x - x0) - (x1 - x0) * (y - y0)) / (x1 - x0) for x, y in marks]
    assert sorted(on_line)[:2] == pytest.approx([0, 0], abs=0.05)


def test_a_flow_test_without_a_drop_is_refused():
    with pytest.raises(ValueError, match="under the static"):
        supply.draw(tested.Supply("s", "w", "psi", "gpm", 60, 60, 900))


def test_the_margin_of_the_supply_is_in_its_table():
    # 82 - 21 (1100/1200)^1.85 - 55 psi, on paper.
    margin = 82 - 21 * (1100 / 1200) ** 1.85 - 55
    assert ("margin", "", f"{margin:+.1f}") in supply.draw(SUPPLY).rows


def test_a_pump_shows_its_three_marks():
    rows = pump.draw(PUMP).rows
    assert ("churn, at most", "0", "140.0") in rows
    assert ("150 percent flow, at least", "1500", "65.0") in rows
    assert ("rated", "1000", "100.0") in rows


def test_what_is_not_used_is_in_the_table_with_the_reason():
    assert ("2019-05-01", "40 psi", "drain not fully open") in history.draw(HISTORY).rows


def test_a_history_of_one_reading_is_drawn():
    one = history.History("One", "psi", "One.", [(date(2026, 1, 1), 70.0, "70 psi")])
    assert ET.fromstring(history.draw(one).svg).tag == f"{SVG}svg"
