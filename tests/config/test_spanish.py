"""Spanish texts of the desk pages that technicians use."""

import ast
import gettext
import json
import re

import pytest
from django.conf import settings
from django.utils import translation

from inspections.events.missing import SENTENCES
from inspections.pictures.reader import WORDS
from inspections.trips import END_STATE_WORDS

FOLDER = settings.BASE_DIR / "config" / "locale" / "es" / "LC_MESSAGES"
PAGES = (
    "contractors/templates/base.html",
    "contractors/templates/_filters.html",
    "contractors/templates/_pagination.html",
    "contractors/templates/account/login.html",
    "contractors/templates/contractors/_calendars.html",
    "contractors/templates/contractors/calendars.html",
    "inspections/templates/inspections/_reports.html",
    "inspections/templates/inspections/_results.html",
    "inspections/templates/inspections/_system.html",
    "inspections/templates/inspections/paper.html",
    "inspections/templates/inspections/people.html",
    "inspections/templates/inspections/practice.html",
    "inspections/templates/inspections/practice_bench.html",
    "inspections/templates/inspections/practice_run.html",
    "inspections/templates/inspections/visit.html",
    "inspections/templates/inspections/visits.html",
    "scheduling/templates/scheduling/mail.html",
)
TEXT = re.compile(r"""{% translate (?:"([^"]+)"|'([^']+)')""")
ENTRY = re.compile(r'\n\n(?:#.*\n)?msgid (".+")\nmsgstr (".*")')


@pytest.fixture(scope="module")
def spanish():
    with (FOLDER / "django.mo").open("rb") as file:
        return gettext.GNUTranslations(file)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_of_technicians_has_its_texts_in_spanish(page, spanish):
    written = (settings.BASE_DIR / page).read_text("utf-8")
    texts = {one or other for one, other in TEXT.findall(written)}
    assert texts
    assert sorted(text for text in texts if text not in spanish._catalog) == []


@pytest.mark.parametrize("module", ["practice_views", "practice_words", "practising"])
def test_the_bench_has_its_texts_in_spanish(module, spanish):
    tree = ast.parse((settings.BASE_DIR / f"inspections/{module}.py").read_text("utf-8"))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    texts = {
        call.args[0].value
        for call in calls
        if getattr(call.func, "id", "") in ("_", "_lazy") and isinstance(call.args[0], ast.Constant)
    }
    assert len(texts) > 15
    assert sorted(text for text in texts if text not in spanish._catalog) == []


def test_pictures_have_their_words_in_spanish(spanish):
    assert sorted(word for word in WORDS if word not in spanish._catalog) == []


def test_what_is_compiled_is_what_is_written(spanish):
    written = (FOLDER / "django.po").read_text("utf-8")
    pairs = [[json.loads(part) for part in pair] for pair in ENTRY.findall(written)]
    assert len(pairs) > 200
    assert [text for text, said in pairs if text and spanish.gettext(text) != said] == []


@pytest.mark.django_db
def test_a_technician_reads_the_visits_in_spanish(ours, as_technician):
    page = as_technician.get("/visits/", headers={"accept-language": "es"}).content.decode()
    assert '<html lang="es"' in page
    assert "Mis visitas" in page or "Visitas" in page
    assert "No visit" not in page


def test_what_a_visit_lacks_is_said_in_spanish(spanish):
    with translation.override("en"):
        texts = {*SENTENCES.values(), *map(str, END_STATE_WORDS.values())}
    assert len(texts) > 25
    assert sorted(text for text in texts if text not in spanish._catalog) == []
    for text in SENTENCES.values():
        told = spanish.gettext(text)
        assert set(re.findall(r"{\w+}", told)) == set(re.findall(r"{\w+}", text)), told
