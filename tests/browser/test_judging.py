"""A judgement changed in the maker file: by keys alone, saved with the smallest change, refused."""

import difflib

import pytest
from playwright.sync_api import expect

from dating.files import read_maker
from tests.browser.looking import DESK, MAKER, PHONE, violations


@pytest.fixture
def kept(served):
    """Put the maker file back when the test is over."""
    path = served.root / MAKER
    before = path.read_bytes()
    yield path
    path.write_bytes(before)


def opened(page):
    """Open the first judgement that the chart leads to, as one who follows an event does."""
    page.goto(f"/maker?file={MAKER}")
    page.locator('a[href*="/maker/judge"]').first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/maker/judge?**")
    return page


def moved(page, key):
    """Move the handle of the latest value, and wait until the words follow; give its field."""
    latest = page.get_by_role("slider", name="latest")
    latest.focus()
    page.keyboard.press(key)
    expect(page.locator("#words")).to_contain_text(latest.get_attribute("aria-valuetext"))
    return page.locator('input[name="latest"]').input_value()


def words(page):
    return page.locator("#words").inner_text()


def months_of(text):
    year, month = text.split("-")[:2]
    return int(year) * 12 + int(month)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_handle_is_moved_by_keys_and_the_words_follow(look, size):
    page = opened(look.at(size))
    before = words(page)
    latest = page.get_by_role("slider", name="latest")
    field = page.locator('input[name="latest"]')
    first = months_of(field.input_value())
    said = latest.get_attribute("aria-valuetext")
    latest.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert months_of(field.input_value()) == first + 2
    assert latest.get_attribute("aria-valuetext") != said
    assert latest.get_attribute("aria-valuetext") not in before
    expect(page.locator("#words")).to_contain_text(latest.get_attribute("aria-valuetext"))
    page.keyboard.press("Shift+ArrowRight")
    assert months_of(field.input_value()) == first + 14
    page.keyboard.press("ArrowLeft")
    assert months_of(field.input_value()) == first + 13
    assert violations(page) == []


def test_handles_keep_their_order(look):
    look.allow("422")  # at the end two values are the same, which the page may ask about
    page = opened(look.at())
    likely = months_of(page.locator('input[name="likely"]').input_value())
    page.get_by_role("slider", name="earliest").focus()
    for _ in range(5):
        page.keyboard.press("Shift+ArrowRight")
    assert months_of(page.locator('input[name="earliest"]').input_value()) == likely


def test_saving_changes_one_line_of_the_file_and_keeps_the_rest(look, kept):
    before = kept.read_text("utf-8")
    page = opened(look.at())
    wanted = moved(page, "ArrowRight")
    page.get_by_role("button", name="Save to the maker file").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_have_text("Saved.")
    after = kept.read_text("utf-8")
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    changed = [line for line in lines if line[0] in "+-"]
    assert [line[0] for line in changed] == ["-", "+"]
    assert wanted in changed[1]
    read_maker(kept)
    page.reload()
    assert page.locator('input[name="latest"]').input_value() == wanted
    assert not page.locator("#unsaved").is_visible()


def test_a_reload_in_the_middle_finds_the_work_again(look, kept):
    before = kept.read_bytes()
    page = opened(look.at())
    wanted = moved(page, "ArrowRight")
    page.reload()
    assert page.locator('input[name="latest"]').input_value() == wanted
    assert page.locator("#unsaved").is_visible()
    assert kept.read_bytes() == before


def test_of_two_tabs_the_second_to_save_is_refused(look, kept):
    tabs = [opened(look.at()), opened(look.at())]
    for tab, key in zip(tabs, ("ArrowRight", "Shift+ArrowRight"), strict=True):
        moved(tab, key)
    save = [tab.get_by_role("button", name="Save to the maker file") for tab in tabs]
    save[0].click()
    expect(tabs[0].locator("#told")).to_have_text("Saved.")
    saved = kept.read_bytes()
    look.allow("status of 409")
    save[1].click()
    expect(tabs[1].locator("#conflict")).to_be_visible()
    assert tabs[1].locator("#both").inner_text()
    assert violations(tabs[1]) == []
    assert kept.read_bytes() == saved


def test_values_that_cannot_be_are_told_and_not_saved(look, kept):
    before = kept.read_bytes()
    page = opened(look.at())
    look.allow("status of 4")
    page.locator('input[name="latest"]').fill("1931-13")
    page.get_by_role("button", name="Save to the maker file").click()
    expect(page.locator("#trouble-here")).to_be_visible()
    expect(page.locator("#told")).to_contain_text("Not saved")
    assert kept.read_bytes() == before
