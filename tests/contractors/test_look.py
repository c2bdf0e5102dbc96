"""Words, shapes and numbers as pages show them."""

import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import time_machine
from django import forms
from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.paginator import Paginator
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.utils import timezone, translation

from contractors.forms_renderer import QuantityField
from contractors.templatetags import look
from tests.contractors import parts

NOW = datetime(2027, 4, 13, 7, 32, tzinfo=UTC)
STANDINGS = {
    "in_order": ("st-order", "In order"),
    "due_by": ("st-due", "Due"),
    "overdue": ("st-overdue", "Overdue"),
    "finding_open": ("st-critical", "Finding open"),
    "impaired": ("st-impaired", "Impaired"),
    "not_known_yet": ("st-unknown", "Not known yet"),
    "not_with_us": ("st-none", "Not with us"),
}
TEMPLATES = settings.BASE_DIR / "contractors" / "templates"
STYLES = settings.BASE_DIR / "contractors" / "static" / "contractors"


def rendered(source: str, **context: object) -> str:
    return Template("{% load look %}" + source).render(Context(context))


class PressureForm(forms.Form):
    static = QuantityField(label="Static pressure", unit="psi", min_value=0, max_value=300)


@pytest.mark.parametrize(("state", "expected"), STANDINGS.items())
def test_a_standing_is_shown_as_its_shape_and_its_word(state, expected):
    shape, word = expected
    html = rendered("{% mark state %}", state=state)

    assert f"#{shape}" in html
    assert f"<span>{word}</span>" in html


def test_no_two_standings_share_a_shape():
    shapes = {look.STATES[state][0] for state in STANDINGS}

    assert len(shapes) == len(STANDINGS)


def test_an_open_finding_takes_the_shape_of_its_worst_class():
    html = rendered('{% mark "finding_open" worst="noncritical_deficiency" %}')

    assert "#st-noncritical" in html
    assert "Finding open" in html


def test_a_state_may_be_written_with_spaces_and_own_words():
    html = rendered('{% mark "not known yet" "Not known yet, first visit in May" %}')

    assert "#st-unknown" in html
    assert "first visit in May" in html


def test_an_unknown_state_is_named_with_what_is_known():
    with pytest.raises(ValueError, match="state 'fine': not one of in_order, due_by"):
        rendered('{% mark "fine" %}')


@time_machine.travel(NOW, tick=False)
def test_due_and_overdue_name_their_latest_day():
    assert "Due by 14 May" in rendered('{% mark "due_by" until=day %}', day=date(2027, 5, 14))
    assert "Overdue, latest was 31 March" in rendered(
        '{% mark "overdue" until=day %}', day=date(2027, 3, 31)
    )
    assert "<span>In order</span>" in rendered(
        '{% mark "in_order" until=day %}', day=date(2027, 3, 31)
    )


def test_a_standing_has_a_word_of_its_own():
    assert rendered('{{ "not_with_us"|standing_word }}') == "Not with us"


def test_a_symbol_beside_a_word_is_hidden_from_screen_readers_and_one_alone_is_named():
    beside = rendered('{% symbol "gauge" %}')
    alone = rendered('{% symbol "gauge" label=label %}', label="Gauge <A>")

    assert 'aria-hidden="true"' in beside
    assert 'role="img" aria-label="Gauge &lt;A&gt;"' in alone


def test_an_unknown_symbol_is_an_error():
    with pytest.raises(ValueError, match="symbol 'gage'"):
        rendered('{% symbol "gage" %}')


def test_a_reason_is_escaped_and_followed_by_its_source():
    html = rendered('{% why reason "County rule" %}', reason="Fell below <66 psi")

    assert "Fell below &lt;66 psi" in html
    assert '<span class="source">County rule</span>' in html


def test_a_reason_from_memory_says_so():
    assert "From memory, not yet confirmed." in rendered('{% why "Quarterly here." "memory" %}')


@pytest.mark.parametrize(
    ("value", "unit", "places", "shown"),
    [
        (62, "psi", None, "62\xa0psi"),
        (62.0, "psi", None, "62\xa0psi"),
        (Decimal("59.40"), "psi", None, "59.4\xa0psi"),
        (0.666, "mi", None, "0.67\xa0mi"),
        (0.666, "mi", 1, "0.7\xa0mi"),
        (-0.001, "psi", None, "0\xa0psi"),
        (41000, "ft2", None, "41,000\xa0ft²"),
        ("62 1/2", "psi", None, "62 1/2\xa0psi"),
        (17, "", None, "17"),
        (None, "psi", None, "not measured"),
        (0, "psi", None, "0\xa0psi"),
    ],
)
def test_a_number_keeps_its_unit_beside_it(value, unit, places, shown):
    assert look.quantity(value, unit, places) == shown


def test_numbers_follow_the_readers_language():
    with translation.override("es"):
        assert look.quantity(1250.5, "gal/min") == "1\xa0250,5\xa0gal/min"


@time_machine.travel(NOW, tick=False)
@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2027, 3, 14), "14 March"),
        (date(2026, 3, 14), "14 March 2026"),
        (date(2028, 1, 1), "1 January 2028"),
        (datetime(2027, 3, 14, 9, 0, tzinfo=UTC), "14 March"),
        (None, "no date"),
    ],
)
def test_days_are_written_in_words_with_the_year_when_it_is_another(day, words):
    assert look.in_words(day) == words


@time_machine.travel(datetime(2027, 3, 14, 3, 0, tzinfo=UTC), tick=False)
def test_a_moment_is_dated_where_the_reader_is():
    with timezone.override("America/Chicago"):
        assert look.in_words(datetime(2027, 3, 14, 3, 0, tzinfo=UTC)) == "13 March"


@pytest.mark.parametrize(
    ("length", "words"),
    [
        (timedelta(seconds=-30), "less than a minute"),
        (timedelta(seconds=59), "less than a minute"),
        (timedelta(minutes=48), "48 min"),
        (timedelta(hours=19, minutes=48, seconds=59), "19 h 48 min"),
        (timedelta(hours=47, minutes=59), "47 h 59 min"),
        (timedelta(hours=48), "2 days"),
        (timedelta(days=13, hours=23), "13 days"),
    ],
)
def test_time_since_and_time_left_use_the_same_words(length, words):
    assert look.since(NOW - length, NOW) == words
    assert look.left(NOW + length, NOW) == words


@time_machine.travel(NOW, tick=False)
def test_days_are_counted_from_a_date_too():
    assert look.since(date(2027, 3, 31)) == "13 days"


def test_an_error_names_field_value_and_what_is_accepted():
    html = str(PressureForm({"static": "920"}))

    assert "Static pressure: 920 psi is more than the largest taken, 300 psi." in html
    assert "0 to 300 psi" in html
    assert 'aria-invalid="true"' in html


def test_an_error_that_does_not_say_the_value_has_it_added():
    html = str(PressureForm({"static": "high"}))

    assert "Static pressure: a number in psi is needed, such as 62.5." in html
    assert "You typed “high”." in html


def test_a_password_is_never_repeated_in_an_error():
    class SecretForm(forms.Form):
        secret = forms.CharField(label="Password", min_length=12, widget=forms.PasswordInput)

    html = str(SecretForm({"secret": "hunter22"}))

    assert "Password: Ensure this value has at least 12 characters" in html
    assert "hunter22" not in html


def test_label_help_and_error_are_tied_to_their_field():
    html = str(PressureForm({"static": "920"}))
    described = re.search(r'<input[^>]*aria-describedby="([^"]+)"', html)

    assert described is not None
    assert 'for="id_static"' in html
    for name in described[1].split():
        assert f'id="{name}"' in html


def test_pages_of_a_list_keep_the_filters_in_their_address():
    request = RequestFactory().get("/due/", {"kind": "dry", "page": "2"})
    page = Paginator(range(100), 10).page(2)
    html = render_to_string("_pagination.html", {"page_obj": page, "noun": "rows"}, request=request)

    assert "11 to 20 of 100 rows" in html
    assert 'href="?kind=dry&amp;page=3"' in html
    assert 'aria-current="page"' in html


def test_a_list_of_one_page_shows_no_pages():
    page = Paginator(range(3), 10).page(1)

    assert render_to_string("_pagination.html", {"page_obj": page}).strip() == ""


@time_machine.travel(parts.NOW, tick=False)
def test_the_page_of_all_parts_shows_every_state_and_symbol():
    html = parts.render_parts()

    for state in look.STATES:
        assert str(look.STATES[state][1]) in html
    for name in look.symbol_names():
        assert f"symbols.svg#{name}" in html


@pytest.mark.parametrize("name", ["400.html", "403.html", "404.html", "500.html"])
def test_an_error_page_needs_no_context_and_says_what_to_do(name):
    html = render_to_string(name)

    assert "<h1>" in html
    assert 'href="/"' in html
    assert "<script" not in html


@pytest.mark.parametrize(
    "path", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: str(path.relative_to(TEMPLATES))
)
def test_a_template_holds_no_inline_style_or_script(path: Path):
    source = path.read_text("utf-8")

    assert not re.search(r"\sstyle=", source)
    assert "<style" not in source
    assert not re.search(r"\son[a-z]+=", source)
    for script in re.findall(r"<script([^>]*)>", source):
        assert "src=" in script or "application/json" in script


def test_style_sheets_use_the_tokens_colours_only():
    for path in STYLES.glob("*.css"):
        if path.name != "tokens.css":
            found = re.findall(r"#[0-9a-f]{3,8}\b(?=[^{]*})|rgb\(", path.read_text("utf-8"))
            assert found == [], path.name


def test_every_file_that_a_style_sheet_names_is_there():
    for path in STYLES.rglob("*.css"):
        for name in re.findall(r'url\("?([^)"#]+)"?\)', path.read_text("utf-8")):
            assert (path.parent / name).is_file(), f"{path.name}: {name}"


def test_no_vendored_file_points_at_an_absent_source_map():
    for path in (STYLES / "vendor").rglob("*.[jc]s*"):
        assert "sourceMappingURL" not in path.read_text("utf-8")
    assert finders.find("contractors/vendor/leaflet/leaflet.js")
    assert finders.find("contractors/vendor/idb/idb.js")
