"""Every page as it is seen: readable by all, on a telephone and at a desk, light and dark."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from dating.bench.app import LOOKED_AT
from dating.bench.guide_page import LINKS
from tests.browser.looking import DESK, PHONE, SEEN, sideways, violations
from tests.serving import linked, pages_of

EACH = 2
"""Pages that are looked at of each address, as far as there are so many."""


@pytest.fixture(scope="module")
def shown(served):
    """Pages by address: those that links lead to, from the first page on."""
    places = {address: [] for address in LOOKED_AT}
    with ThreadPoolExecutor(1) as apart:  # the browser has a loop in this thread
        found = apart.submit(linked, pages_of(served.root), EACH).result()
    for address, pages in found.items():
        assert all(answer.status == 200 for _, answer in pages)
        places[address] = [place for place, _ in pages]
    return places


def settled(page):
    """Wait until nothing more comes: claims are weighed one after the other."""
    page.wait_for_load_state("networkidle")
    if page.locator("#count").count():
        page.locator("#count", has_text="3 of 3 weighed").wait_for()


@pytest.mark.parametrize(("size", "dark"), SEEN)
@pytest.mark.parametrize("address", sorted(LOOKED_AT))
def test_a_page_is_accessible_and_fits(look, shown, address, size, dark):
    assert shown[address], "no link leads to this page"
    page = look.at(size, dark=dark)
    for place in shown[address]:
        page.goto(place)
        settled(page)
        assert violations(page) == [], place
        assert sideways(page) == "", place


@pytest.mark.parametrize("address", sorted(LOOKED_AT))
def test_everything_that_opens_is_accessible_too(look, shown, address):
    page = look.at(PHONE)
    for place in shown[address]:
        page.goto(place)
        settled(page)
        page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        page.wait_for_load_state("networkidle")
        assert violations(page) == [], place
        assert sideways(page) == "", place


@pytest.mark.parametrize(("size", "dark"), SEEN)
def test_every_page_of_the_guide_is_accessible_and_fits(look, size, dark):
    page = look.at(size, dark=dark)
    for link in LINKS:
        page.goto(link.address)
        page.wait_for_load_state("networkidle")
        assert violations(page) == [], link.address
        assert sideways(page) == "", link.address
        drawn = "[...document.images].map((image) => image.complete && image.naturalWidth > 99)"
        assert page.evaluate(drawn) == [True] * page.locator("img").count(), link.address


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("place", ["/nothing", "/examine", "/note?file=none.yaml"])
def test_trouble_is_told_on_a_page_like_others(look, place, size):
    look.allow("status of 40[04]")
    page = look.at(size)
    page.goto(place)
    assert page.get_by_role("alert").is_visible()
    assert violations(page) == []
    assert sideways(page) == ""


@pytest.mark.parametrize("address", sorted(LOOKED_AT))
def test_a_keyboard_reaches_the_content_first(look, shown, address):
    page = look.at()
    page.goto(shown[address][0])
    page.keyboard.press("Tab")
    assert page.locator(":focus").inner_text() == "To the content"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_what_is_shown_needs_no_script(look, shown):
    page = look.at(java_script_enabled=False)
    for places in shown.values():
        page.goto(places[0])
        assert page.locator("h1").inner_text()
