"""The page of several instruments side by side: readable by all, on any screen."""

import pytest

import dating
from dating.figures.pages import picture_of
from dating.figures.succession import draw_pairs, draw_row
from dating.succession.files import group_of, read_group
from dating.words.succession_page import comparison_page
from tests.browser.looking import SEEN, sideways, small_targets, violations


@pytest.fixture(scope="module")
def text():
    maker, group = dating.read_maker("priors/marrowby.yaml"), read_group(GROUP)
    comparison = dating.compare(maker, [*group_of(group, maker).values()], group=group)
    pictures = {
        "row": picture_of(draw_row(comparison)),
        "pairs": picture_of(draw_pairs(comparison)),
    }
    return comparison_page(comparison, pictures)


GROUP = "demo_data/marrowby_group.yaml"


@pytest.mark.parametrize(("size", "dark"), SEEN)
def test_the_page_is_readable_and_as_wide_as_the_screen(look, text, size, dark):
    page = look.at(size, dark=dark)
    page.set_content(text)
    assert violations(page) == []
    assert sideways(page) == ""
    assert small_targets(page) == []
    drawn = page.evaluate("[...document.images].map((each) => each.naturalWidth > 0)")
    assert drawn == [True, True]
