"""The page of several instruments side by side: readable by all, on any screen."""

import pytest
from playwright.sync_api import expect

import dating
from dating.figures.pages import picture_of
from dating.figures.succession import draw_pairs, draw_row
from dating.succession.files import group_of, read_group
from dating.words.succession_page import comparison_page
from tests.browser.looking import PHONE, SEEN, sideways, small_targets, violations


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


def test_ticked_instruments_are_set_side_by_side_and_work_numbers_added(look):
    page = look.at(PHONE)
    page.goto("/")
    for name in ("M-001", "M-003"):
        page.locator(f"[form=side][value$='{name}.yaml']").check()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.get_by_role("button", name="Set those that are ticked").click()
    page.wait_for_url("**/compare?*")
    assert any(url.endswith("/compare/progress") for url in asked)
    expect(page.locator("ol.row a")).to_have_text(["M-003", "M-001"])
    form = page.locator("form.adding")
    expect(form.get_by_label("Date of the photograph")).to_be_hidden()
    form.get_by_label("What is known").select_option("photographed")
    expect(form.get_by_label("Date of the photograph")).to_be_visible()
    expect(form.get_by_label("Months between them at least")).to_be_hidden()
    form.get_by_label("What is known").select_option("consecutive")
    assert violations(page) == []
    assert sideways(page) == ""
    for name, place in (("M-001", "1"), ("M-003", "2")):
        form.get_by_label(name, exact=True).check()
        form.get_by_label(f"{name}: place by work number").fill(place)
    form.get_by_label("Months at most").fill("4")
    form.get_by_label("Where this is from").fill("work numbers inside")
    form.get_by_label("Probability that this source is right").fill("0.9")
    form.get_by_role("button", name="Add it and save").click()
    expect(page.get_by_text("Saved in known_between_1.yaml.")).to_be_visible()
    expect(page.get_by_text("M-001 and M-003 have consecutive work numbers")).to_be_visible()
    assert violations(page) == []
    (look.served.root / "known_between_1.yaml").unlink()
