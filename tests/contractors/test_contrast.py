"""Contrast of the colours in tokens.css.

Source: Web Content Accessibility Guidelines 2.2, "relative luminance", "contrast ratio" and
success criteria 1.4.3, 1.4.6 and 1.4.11.
"""

import re
from itertools import product

import pytest
from django.conf import settings

TOKENS = settings.BASE_DIR / "contractors/static/contractors/tokens.css"
GROUNDS = ("paper", "sheet", "well")
TEXTS = ("ink", "ink-2", "accent", "impaired", "critical", "test", "order")
SOFT = ("accent", "impaired", "critical", "test", "order")
GRAPHICS = ("line", "water", "air", "signal")


def colours(scheme: str) -> dict[str, str]:
    css = TOKENS.read_text("utf-8")
    light, _, rest = css.partition("@media (prefers-color-scheme: dark)")
    dark = rest.partition("@media")[0]
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", light))
    if scheme == "dark":
        found |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", dark))
    return found


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_black_on_white_has_the_greatest_contrast():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), [*product(TEXTS, GROUNDS)])
def test_text_has_enhanced_contrast_on_every_ground(scheme, text, ground):
    colour = colours(scheme)

    assert contrast(colour[text], colour[ground]) >= 7.0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("state", SOFT)
def test_a_states_word_has_enhanced_contrast_on_its_own_soft_ground(scheme, state):
    colour = colours(scheme)

    assert contrast(colour[state], colour[f"{state}-soft"]) >= 7.0
    assert contrast(colour["ink-2"], colour[f"{state}-soft"]) >= 7.0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("line", "ground"), [*product(GRAPHICS, ("sheet", "paper"))])
def test_lines_that_carry_meaning_stand_out(scheme, line, ground):
    colour = colours(scheme)

    assert contrast(colour[line], colour[ground]) >= 3.0
