"""What is not saved: each new one apart, a server that goes and comes, colours of one's own."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import serving
from tests.browser.looking import EXAMINATION, MAKER, PHONE, Looker, Served, violations
from tests.serving import copied_demo

NEW = f"/examine?maker={MAKER}"
KINDS = ("core", "set", "rest")


@pytest.fixture
def going(chromium, tmp_path):
    """Two folders that are served in turn under the same address, and a page on a telephone."""
    roots = [copied_demo(tmp_path / name) for name in ("first", "second")]
    server = serving(roots[0])
    address = server.__enter__()
    looker = Looker(chromium, Served(roots[0], address))
    looker.allow("net::ERR_|status of (409|422|500)")

    class Going:
        page, root = looker.at(PHONE), roots[0]

        def stop(self):
            server.__exit__(None, None, None)

        def start(self, root):
            nonlocal server
            server = serving(root, int(address.rpartition(":")[2]))
            server.__enter__()

        other = roots[1]

    yield Going()
    looker.close()
    server.__exit__(None, None, None)
    assert looker.faults == []


def drafts(page):
    return page.evaluate("Object.keys(localStorage)")


def test_a_new_examination_begins_empty_beside_what_was_begun_before(going):
    page = going.page
    page.goto(NEW)
    page.locator("#in-instrument").fill("B-1")
    page.locator('input[value="=dowelled"]').check()
    (name,) = drafts(page)
    assert str(going.root) not in name
    page.goto(NEW)
    assert page.locator("#in-instrument").input_value() == ""
    assert page.locator("input[value='=dowelled']").is_checked() is False
    expect(page.locator("#drafts")).to_contain_text("Continue with B-1")
    assert violations(page) == []
    page.locator("#in-instrument").fill("B-2")
    assert len(drafts(page)) == 2
    page.goto(NEW)
    assert page.locator("#drafts li").count() == 2
    page.get_by_role("button", name="Discard B-2").click()
    assert drafts(page) == [name]
    page.get_by_role("link", name="Continue with B-1").click()
    expect(page.locator("#in-instrument")).to_have_value("B-1")
    expect(page).to_have_title("New examination · the bench")
    assert page.locator("[data-unsaved]").is_visible()
    page.get_by_role("button", name="Save the examination").click()
    expect(page).to_have_title("B-1 · the bench")
    assert page.locator("h1").inner_text() == "Examine B-1"
    assert "B-1.yaml" in page.locator("header").inner_text()
    assert not page.locator("[data-unsaved]").is_visible()
    assert drafts(page) == []


def test_a_server_that_goes_is_seen_and_so_is_its_coming_back(going):
    page = going.page
    page.goto(f"/examine?file={EXAMINATION}")
    before = page.locator("#panel-date dl").text_content()
    page.locator("#in-by").fill("assessor D")
    page.get_by_role("button", name="Save the examination").click()
    expect(page.locator("#saving")).to_contain_text("Saved in")
    going.stop()
    page.locator('input[value="=dovetail"]').check()
    expect(page.locator("#gone")).to_contain_text(
        "does not answer. The results do not include your last change"
    )
    assert page.locator("[data-unsaved]").is_visible()
    assert page.locator("#told").inner_text() == ""
    struck = "(e) => getComputedStyle(e).textDecorationLine"
    for place in ("#panel-date dd >> nth=0", "#summary strong"):
        assert page.locator(place).evaluate(struck) == "line-through"
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    assert page.locator("#gone").evaluate("(e) => e.getBoundingClientRect().top") == 0
    assert violations(page) == []
    going.start(going.root)
    expect(page.locator("#gone")).to_be_hidden()
    expect(page.locator("#panel-date dl")).not_to_have_text(before)
    assert page.locator("#summary strong").evaluate(struck) == "none"
    going.stop()
    going.start(going.other)
    page.get_by_role("button", name="Save the examination").click()
    expect(page.locator("#trouble-here")).to_contain_text(
        "a different folder is now being served here"
    )
    page.goto(f"/examine?file={EXAMINATION}")
    assert page.locator("#in-by").input_value() == "assessor A"
    assert not page.locator("#unsaved").is_visible()


def test_answers_that_do_not_count_are_hidden_or_marked_and_both_texts_are_read(going):
    page = going.page
    page.goto(f"/examine?file={EXAMINATION}")
    asked = page.locator("fieldset.question", has=page.locator('[name="seen.heel-joint.sure"]'))
    asked.locator("summary").click()
    sure = asked.locator('[name="seen.heel-joint.sure"]')
    sure.fill("70")
    expect(asked.locator(".hint")).to_have_text("sureness read as 70\N{NO-BREAK SPACE}%")
    asked.locator('[name="seen.heel-joint.one_of.0"]').first.check()
    assert asked.locator('input[value="one_of"]').is_checked()
    assert not sure.is_visible()
    assert not asked.locator(".unused").first.is_visible()
    asked.locator('input[value="=screwed"]').check()
    assert sure.is_visible()
    assert asked.locator(".unused").first.is_visible()
    path = going.root / EXAMINATION
    path.write_text(path.read_text("utf-8") + f"# {'a long remark ' * 20}\n", encoding="utf-8")
    page.get_by_role("button", name="Save the examination").click()
    expect(page.locator("#conflict")).to_be_visible()
    clipped = """() => [...document.querySelectorAll("#conflict, #conflict pre")].filter((e) =>
      e.scrollWidth > e.clientWidth || e.getBoundingClientRect().right > innerWidth).length"""
    assert page.evaluate(clipped) == 0


def test_pictures_and_their_keys_are_told_apart_in_colours_of_ones_own(look):
    page = look.at(PHONE, dark=True, forced_colors="active")
    page.goto(f"/examine?file={EXAMINATION}")
    colour = "(e) => getComputedStyle(e).backgroundColor"
    fill = "(e) => getComputedStyle(e).fill"
    for kind in ("core", "set"):
        key = page.locator(f"#panel-date .swatch.{kind}").evaluate(colour)
        assert key == page.locator(f"#panel-date rect.{kind}").first.evaluate(fill)
    bars = [page.locator(f"#panel-date rect.{kind}").first.evaluate(fill) for kind in KINDS]
    paper = page.locator("body").evaluate(colour)
    assert len({*bars, paper}) == 4
    assert violations(page) == []
    page.goto(f"/maker?file={MAKER}")
    fills = {page.locator(f".band .fill-{n}").first.evaluate(fill) for n in (0, 1)}
    assert len(fills) == 2
    assert violations(page) == []
