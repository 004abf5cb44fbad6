"""The handles of a judgement and the wall chart on paper, in a real browser."""

import re
from urllib.parse import urlencode

import pytest
from playwright.sync_api import expect

from tests.browser.looking import DESK, MAKER, PHONE

HEEL = "components.neck.features.heel-joint.history.1.first_use"


def opened(page):
    page.goto("/maker/judge?" + urlencode({"file": MAKER, "place": HEEL}))
    return page


def knob(page, key):
    return page.locator(f"[data-for={key}]")


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_a_handle_is_dragged_and_the_words_follow(look, size):
    page = opened(look.at(size))
    box = knob(page, "likely").bounding_box()
    assert min(box["width"], box["height"]) >= 44
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    month = page.locator("#rails").bounding_box()["width"] / 48
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 1.5 * month, y, steps=3)
    page.mouse.move(x + 2 * month, y, steps=2)
    page.mouse.up()
    expect(page.locator("#words")).to_contain_text("February 1930")
    assert page.input_value("[name=likely]") == "1930-02"
    assert knob(page, "likely").get_attribute("aria-valuetext") == "February 1930"
    expect(page.locator("#told")).to_contain_text("February 1930")


def test_keys_move_a_handle_by_months_and_years_and_never_past_another(look):
    look.allow("422")  # on the way two values are the same, which the page may ask about
    page = opened(look.at())
    knob(page, "likely").focus()
    page.keyboard.press("ArrowRight")
    assert page.input_value("[name=likely]") == "1930-01"
    page.keyboard.press("Shift+ArrowRight")
    assert page.input_value("[name=likely]") == page.input_value("[name=latest]") == "1930-08"
    page.keyboard.press("Home")
    assert page.input_value("[name=likely]") == "1929-06"
    page.fill("[name=likely]", "1930-02")
    knob(page, "latest").focus()
    page.keyboard.press("Shift+ArrowRight")
    assert page.input_value("[name=latest]") == "1931-08"


def test_the_axis_grows_with_a_handle_that_comes_to_its_end(look):
    page = opened(look.at())
    page.fill("[name=likely]", "1930-06")
    expect(page.locator("#words")).to_contain_text("June 1930")
    box, rails = knob(page, "latest").bounding_box(), page.locator("#rails").bounding_box()
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] / 2, y)
    page.mouse.down()
    page.mouse.move(rails["x"] + rails["width"], y, steps=5)
    page.mouse.up()
    assert page.input_value("[name=latest]") == "1932-01"
    expect(page.locator("[name=to]")).to_have_attribute("data-drawn", str(1933 * 12))


def test_what_no_distribution_runs_through_is_told_and_mended(look):
    look.allow("422")
    page = opened(look.at())
    page.fill("[name=likely]", "1929-06")
    expect(page.locator("#trouble-here")).to_contain_text("half the belief would lie at")
    page.fill("[name=likely]", "1929-12")
    expect(page.locator("#trouble-here")).to_be_hidden()


def test_a_draft_outlives_a_reload_and_a_second_page_is_warned(look, served):
    look.allow("409")
    before = (served.root / MAKER).read_bytes()
    page, other = opened(look.at()), opened(look.at(PHONE))
    page.fill("[name=likely]", "1930-01")
    expect(page.locator("#words")).to_contain_text("January 1930")
    page.reload()
    assert page.input_value("[name=likely]") == "1930-01"
    assert page.is_visible("#unsaved")
    page.click("[data-save]")
    expect(page.locator("#saved")).to_contain_text("Saved")
    text = (served.root / MAKER).read_text("utf-8")
    assert "{earliest: 1929-06, likely: 1930-01, latest: 1930-08, by: assessor A" in text
    other.fill("[name=likely]", "1929-11")
    other.click("[data-save]")
    expect(other.locator("#conflict")).to_be_visible()
    both = other.inner_text("#conflict")
    assert "likely: 1930-01" in both
    assert "likely: 1929-11" in both
    assert (served.root / MAKER).read_text("utf-8") == text
    (served.root / MAKER).write_bytes(before)


def test_the_sheet_prints_on_one_a3_page(look):
    page = look.at()
    page.goto(f"/maker?file={MAKER}&sheet=1")
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", printed)
    assert [round(float(side) / 72 * 25.4) for side in box.groups()] == [420, 297]
