"""Invented buildings, every answer given by hand: own reading of the rules in the tables.

`--applicable DIR` takes other ones: a folder with one inventory (JSON) and CSV files of answers.
"""

import json
import random
import shutil
from pathlib import Path

import pytest

from inspections.applies import ItemFacts, Judge
from inspections.catalogue_files import catalogue
from tests.published import plain_rules
from tests.published.applicable_files import COLUMNS, FolderWrong, answers, read_sites

OURS = Path(__file__).resolve().parents[2] / "fixtures" / "published" / "itm"


def rule_on(folder):
    as_of, sites = read_sites(folder)
    judge = Judge(catalogue(), as_of)
    return {
        (site.id, verdict.item.id, verdict.ruling.activity.id): verdict
        for site in sites
        for verdict in judge.verdicts(site)
    }


def pytest_generate_tests(metafunc):
    if "folder" in metafunc.fixturenames:
        theirs = metafunc.config.getoption("--applicable", default=None)
        metafunc.parametrize("folder", [OURS, *([Path(theirs)] if theirs else [])], ids=str)


def test_every_answer_agrees(folder):
    found = rule_on(folder)
    wrong = []
    for row in answers(folder):
        key = (row["building"], row["device"], row["activity_id"])
        # A row whose kind the item is not has no verdict; it does not hold.
        word = found[key].word if key in found else "false"
        if word != row["applies"].lower():
            reason = found[key].ruling.reason if key in found else "another kind of item"
            said = f"{row['at']}: {' '.join(key)}: {word} ({reason}), not {row['applies']}"
            wrong.append(said)
    assert not wrong, "\n".join(wrong)


def test_a_second_reading_has_the_same_items_take_turns(folder):
    as_of, sites = read_sites(folder)
    for activity_id, row in catalogue().alternating.items():
        subjects = catalogue().activities[activity_id].subjects
        for site in sites:
            for item in site.by_id.values():
                if item.kind in subjects:
                    facts = ItemFacts(catalogue(), site, item, as_of)
                    plain = {"item": {"kind": item.kind, "attributes": item.attributes}}
                    among = row.among.evaluate(facts).value is True
                    assert among == plain_rules.takes_turns(activity_id, plain), item


def test_every_answer_names_a_building_an_item_and_an_activity(folder):
    _, sites = read_sites(folder)
    items = {site.id: site.by_id for site in sites}
    rows = list(answers(folder))
    assert rows, f"{folder}: no CSV file with the columns {', '.join(COLUMNS)}"
    for row in rows:
        assert row["building"] in items, row
        assert row["device"] in items[row["building"]], row
        assert row["activity_id"] in catalogue().activities, row
        assert row["applies"].lower() in ("true", "false", "ask"), row


@pytest.mark.parametrize("word", ["true", "false", "ask"])
def test_all_three_words_are_among_our_answers(word):
    assert any(row["applies"] == word for row in answers(OURS))


@pytest.fixture
def odd(tmp_path):
    """Our folder as other programs may have written it."""
    (file,) = OURS.glob("example_inventory.json")
    text = file.read_text(encoding="utf-8")
    (tmp_path / "theirs.json").write_text("\ufeff" + text, encoding="utf-8")
    lines = (OURS / "expected_applicable.csv").read_text(encoding="utf-8").splitlines()
    head, rows = lines[0], lines[1:]
    halves = {"one.csv": rows[: len(rows) // 2], "two.csv": rows[len(rows) // 2 :]}
    for name, some in halves.items():
        table = [f"\ufeff{head},note", "", *(f"{row}," for row in some), ",,,,,", ""]
        (tmp_path / name).write_text("\r\n".join(table), encoding="utf-8")
    (tmp_path / "other.csv").write_text("colour,size\nred,3\n", encoding="utf-8")
    return tmp_path


def test_a_folder_as_other_programs_write_it_is_read_alike(odd):
    def plain(folder):
        return [{n: v for n, v in row.items() if n != "at"} for row in answers(folder)]

    ours = [row for row in plain(OURS) if row["building"]]
    assert plain(odd) == ours
    assert read_sites(odd) == read_sites(OURS)


def changed(folder, change):
    data = json.loads((folder / "theirs.json").read_text(encoding="utf-8-sig"))
    change(data)
    (folder / "theirs.json").write_text(json.dumps(data), encoding="utf-8")


def first(data):
    return data["buildings"][0]


def lead_in(data):
    return first(data)["items"][0]


WRONG = {
    "attribute": (lambda d: lead_in(d)["attributes"].update(colour=1), "no attribute 'colour'"),
    "value": (lambda d: lead_in(d)["attributes"].update(source="sea"), "one of: public_main"),
    "truth": (lambda d: lead_in(d)["attributes"].update(main_drain="some"), "yes or no"),
    "attributes": (lambda d: lead_in(d).update(attributes=[1]), "item 1, L1: 'attributes' is"),
    "building": (lambda d: first(d)["attributes"].update(storeys=9), "no attribute 'storeys'"),
    "edition": (lambda d: first(d).update(adopted_edition="latest"), "a year such as 2020, or nul"),
    "twice": (lambda d: d["buildings"].append(first(d)), "B01 is there twice"),
    "kind": (lambda d: lead_in(d).update(kind="rocket"), "'rocket' is no kind"),
    "parent": (lambda d: lead_in(d).update(parent="X9"), "parent 'X9' is not there"),
    "circle": (lambda d: lead_in(d).update(parent="BF1"), "hangs on itself in a circle"),
    "no-id": (lambda d: lead_in(d).pop("id"), "item 1: 'id' is missing"),
    "items": (lambda d: first(d).update(items={"L1": {}}), "'items' is .* a list is wanted"),
    "no-day": (lambda d: d["about"].pop("as_of"), "'as_of' is missing"),
    "day": (lambda d: d["about"].update(as_of="soon"), "as_of is 'soon'; a day like"),
    "no-buildings": (lambda d: d.pop("buildings"), "'buildings' is missing"),
}


@pytest.mark.parametrize(("change", "said"), WRONG.values(), ids=WRONG)
def test_an_inventory_that_cannot_be_used_says_what_and_where(odd, change, said):
    changed(odd, change)
    with pytest.raises(FolderWrong, match=said):
        read_sites(odd)


def test_an_edition_and_values_as_text_are_read(odd):
    plain = read_sites(odd)

    def written_out(data):
        first(data)["adopted_edition"] = str(first(data)["adopted_edition"])
        lead_in(data)["attributes"]["main_drain"] = "yes"

    changed(odd, written_out)
    assert read_sites(odd) == plain


def test_a_folder_that_is_none_and_files_that_are_no_text_are_named(odd, tmp_path):
    with pytest.raises(FolderWrong, match="is no folder"):
        read_sites(tmp_path / "elsewhere")
    (odd / "one.csv").write_bytes("building,device,activity_id,applies,é".encode("latin-1"))
    with pytest.raises(FolderWrong, match=r"one.csv: is no CSV file in UTF-8"):
        list(answers(odd))
    (odd / "theirs.json").write_text("{", encoding="utf-8")
    with pytest.raises(FolderWrong, match=r"theirs.json: is no JSON"):
        read_sites(odd)


def test_a_folder_of_none_or_two_inventories_and_a_lost_column_are_named(odd):
    shutil.copy(odd / "theirs.json", odd / "more.json")
    with pytest.raises(FolderWrong, match=r"more.json, theirs.json"):
        read_sites(odd)
    (odd / "one.csv").write_text("building,device,activity_id\nB01,B01,x\n", encoding="utf-8")
    with pytest.raises(FolderWrong, match=r"one.csv, row 1: there is no column applies"):
        list(answers(odd))


YEARS = (1919, 1920, 1950, 1951, 1975, 1976, 1996, 2000, 2001, 2006, 2011, 2016, 2020)
EDITIONS = (None, 1998, 2005, 2008, 2010, 2011, 2014, 2017, 2020, 2023, 2026)
FIGURES = (0, 0.5, 1, 2, 2.5, 4, 10, 60, 150, 165, 200)


def drawn(rng, row):
    """A value that an attribute can have."""
    match row["type"]:
        case "bool":
            return rng.random() < 0.5
        case "enum":
            return rng.choice(row["allowed"].split(";"))
        case "integer":
            return rng.choice((0, 1, 2, 50, 300, 301, 1000, 1001))
        case "year":
            return rng.choice(YEARS)
        case "number":
            return rng.choice(FIGURES)
        case "date":
            return f"{rng.choice(YEARS)}-0{rng.randint(1, 9)}-{rng.randint(10, 28)}"
    return rng.choice(("CA", "FL", "DE", "OR", "ON"))


def shuffled(seed):
    """Our inventory with other editions and attributes, some told anew and some forgotten."""
    rng = random.Random(seed)
    (file,) = OURS.glob("*.json")
    data = json.loads(file.read_text(encoding="utf-8"))
    for building in data["buildings"]:
        building["adopted_edition"] = rng.choice(EDITIONS)
        for one in (building, *building["items"]):
            for name, row in plain_rules.KINDS[one.get("kind", "building")].items():
                chance = rng.random()
                if name != "parent" and chance < 0.35:
                    one["attributes"][name] = drawn(rng, row)
                elif chance > 0.9:
                    one["attributes"].pop(name, None)
    return data


@pytest.mark.parametrize("seed", range(2))
def test_a_second_reading_of_the_rules_comes_to_the_same_words(tmp_path, seed):
    data = shuffled(seed)
    (tmp_path / "inventory.json").write_text(json.dumps(data), encoding="utf-8")
    found = {key: verdict.word for key, verdict in rule_on(tmp_path).items()}
    wanted = dict(plain_rules.words(data))
    wrong = {k: (found.get(k), wanted[k]) for k in wanted if found.get(k) != wanted[k]}
    assert wrong == {}
    assert set(wanted.values()) == {"true", "false", "ask"}


def test_the_second_reading_agrees_with_the_answers_given_by_hand():
    (file,) = OURS.glob("*.json")
    wanted = dict(plain_rules.words(json.loads(file.read_text(encoding="utf-8"))))
    for row in answers(OURS):
        key = (row["building"], row["device"], row["activity_id"])
        assert wanted.get(key, "false") == row["applies"], key
