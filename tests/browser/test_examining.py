"""A specialist's whole path by keyboard alone: answers, a reload, saved, noted; two at once."""

import html
import re
from urllib.parse import parse_qs

import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from dating.cli.main import main
from tests.browser.looking import DESK, EXAMINATION, MAKER, PHONE, violations

NEW = "demo_data/examinations/B-001.yaml"
ANSWERS = {
    "fingerboard": "rosewood",
    "nut": "bone",
    "heel-joint": "dowelled",
    "lining": "solid",
    "finish": "varnish",
    "tailpiece": "cast",
}


def by_command(served, file, *options):
    result = CliRunner().invoke(main, ["estimate", str(served.root / file), *options])
    assert result.exit_code == 0, result.output
    return result.stdout


def tab_to(page, what, most=400):
    """Press the key Tab until something has the focus, as one would who has no mouse."""
    wanted = what.element_handle()
    for _ in range(most):
        page.keyboard.press("Tab")
        if wanted.evaluate("(element) => element === document.activeElement"):
            return
    raise AssertionError(f"the key Tab does not lead to {what}")


def answer(page, feature, state):
    """Go to a question with the keys that the page names, and choose with the arrows."""
    group = page.locator(f'input[name="seen.{feature}.state"]')
    for _ in range(60):
        page.keyboard.press("Alt+ArrowDown")
        if page.evaluate("document.activeElement.name") == f"seen.{feature}.state":
            break
    else:
        raise AssertionError(f"the keys do not lead to {feature}")
    for _ in range(group.count()):
        page.keyboard.press("ArrowRight")
        if page.evaluate("document.activeElement.value") == f"={state}":
            break
    assert page.locator(f'input[name="seen.{feature}.state"]:checked').input_value() == f"={state}"


def plain(text):
    return " ".join(text.split())


def dated(page):
    """Read what the page says of the date: the months of each level."""
    return plain(page.locator("#panel-date dl").text_content())


def answer_and_wait(page, feature, state):
    """Answer, and wait until the page shows what the server said of that answer."""

    def of_it(response):
        sent = parse_qs(response.request.post_data or "")
        return response.url.endswith("/redraw") and sent.get(f"seen.{feature}.state") == [
            f"={state}"
        ]

    with page.expect_response(of_it) as waited:
        answer(page, feature, state)
    sets = re.search(r"<dl.*?</dl>", waited.value.text(), re.DOTALL)[0]
    expect(page.locator("#panel-date dl")).to_have_text(
        plain(html.unescape(re.sub(r"<[^>]+>", "", sets))), use_inner_text=False
    )
    return dated(page)


@pytest.mark.long
def test_the_whole_path_by_keyboard_alone(look, served):
    page = look.at(DESK, accept_downloads=True)
    page.goto("/")
    tab_to(page, page.get_by_role("link", name="examine an instrument").first)
    page.keyboard.press("Enter")
    page.wait_for_url("**/examine?**")
    tab_to(page, page.locator("#in-instrument"))
    page.keyboard.type("B-001")
    said = [dated(page)]
    answers = list(ANSWERS.items())
    for feature, state in answers[:3]:
        said.append(answer_and_wait(page, feature, state))

    page.reload()
    assert page.locator("#in-instrument").input_value() == "B-001"
    for feature, state in answers[:3]:
        assert (
            page.locator(f'input[name="seen.{feature}.state"]:checked').input_value() == f"={state}"
        )
    assert page.locator("#unsaved").is_visible()
    expect(page.locator("#panel-date dl")).to_have_text(said[-1])

    for feature, state in answers[3:]:
        said.append(answer_and_wait(page, feature, state))
    assert len(set(said)) >= len(ANSWERS)  # one of them says little
    assert violations(page) == []
    tab_to(page, page.get_by_role("button", name="Save the examination"))
    page.keyboard.press("Enter")
    expect(page.locator("#saving")).to_contain_text(NEW)
    assert (served.root / NEW).is_file()
    assert not page.locator("#unsaved").is_visible()

    page.goto("/")
    tab_to(page, page.get_by_role("link", name=NEW, exact=True))
    page.keyboard.press("Enter")
    page.wait_for_url("**B-001**")
    assert dated(page) == said[-1]
    assert not page.locator("#unsaved").is_visible()

    printed = by_command(served, NEW)
    for level in ("90 %", "50 %"):
        (months,) = re.findall(rf"{level}  (\S.*)", printed)
        assert f"{level}{months}" in said[-1].replace("\N{NO-BREAK SPACE}", " ")
    assert re.findall(r"median  (\S+ \d{4});", printed)[0] in said[-1]

    page.goto("/")
    note = page.locator("li", has=page.get_by_role("link", name=NEW, exact=True))
    tab_to(page, note.get_by_role("link", name="catalogue note"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/note?**")
    assert "B-001" in page.locator("#note").inner_text()
    tab_to(page, page.get_by_role("button", name="Markdown"))
    with page.expect_download() as waited:
        page.keyboard.press("Enter")
    assert waited.value.suggested_filename == "B-001.md"
    result = CliRunner().invoke(main, ["note", str(served.root / NEW)])
    with open(waited.value.path(), encoding="utf-8") as stream:
        assert stream.read().strip() == result.stdout.strip()


@pytest.mark.parametrize(
    ("button", "start"),
    [("PDF", b"%PDF-"), ("Word", b"PK"), ("HTML", b"<!DOCTYPE"), ("Linked Art", b"{")],
)
def test_a_note_is_taken_in_other_formats(look, button, start):
    page = look.at(PHONE, accept_downloads=True)
    page.goto(f"/note?file={EXAMINATION}")
    with page.expect_download() as waited:
        page.get_by_role("button", name=button, exact=True).click()
    assert waited.value.suggested_filename.startswith("M-003.")
    with open(waited.value.path(), "rb") as stream:
        assert stream.read(len(start)) == start


def test_a_note_is_worded_anew_where_another_form_is_chosen(look):
    page = look.at()
    page.goto(f"/note?file={EXAMINATION}")
    before = page.locator(".statement").inner_text()
    page.get_by_label("language").select_option("de")
    page.wait_for_function(
        "(before) => document.querySelector('.statement').innerText !== before", arg=before
    )
    assert page.locator("#note .statement").evaluate("(e) => e.closest('[lang]').lang") == "de"
    told = plain(page.locator(".statement").text_content())
    expect(page.locator("#told")).to_have_text(told)
    look.allow("status of 422")
    page.get_by_label("level").fill("2")
    expect(page.locator("#trouble-here")).to_contain_text("a probability between 0 and 1")
    page.get_by_label("level").fill("0.5")
    expect(page.locator("#trouble-here")).to_be_hidden()


def test_of_two_tabs_the_second_to_save_sees_both_texts(look, served):
    path = served.root / EXAMINATION
    before = path.read_bytes()
    context = look.context()
    tabs = [context.new_page(), look.context().new_page()]
    try:
        for tab in tabs:
            tab.goto(f"/examine?file={EXAMINATION}")
        for tab, words in zip(tabs, ("by the first", "by the second"), strict=True):
            tab.locator("#in-note").fill(words)
        save = [tab.get_by_role("button", name="Save the examination") for tab in tabs]
        save[0].click()
        expect(tabs[0].locator("#told")).to_have_text("Saved.")
        saved = path.read_bytes()
        assert b"by the first" in saved
        look.allow("status of 409")
        save[1].click()
        dialog = tabs[1].locator("#conflict")
        expect(dialog).to_be_visible()
        assert "by the first" in dialog.inner_text()
        assert "by the second" in dialog.inner_text()
        assert violations(tabs[1]) == []
        assert path.read_bytes() == saved
        tabs[1].keyboard.press("Escape")
        assert tabs[1].locator("#in-note").input_value() == "by the second"
        tabs[1].reload()
        assert tabs[1].locator("#in-note").input_value() == "by the second"
        assert path.read_bytes() == saved
    finally:
        path.write_bytes(before)


def test_a_server_that_does_not_answer_is_told_and_nothing_is_lost(look):
    page = look.at()
    page.goto(f"/examine?maker={MAKER}")
    look.allow("net::ERR_")
    page.context.set_offline(True)
    page.locator("#in-instrument").fill("OFF-1")
    expect(page.locator("#gone")).to_contain_text("The server does not answer")
    page.context.set_offline(False)
    page.reload()
    assert page.locator("#in-instrument").input_value() == "OFF-1"


@pytest.mark.long
def test_claims_are_weighed_as_one_watches(look):
    page = look.at(PHONE)
    page.goto("/claims?file=demo_data/marrowby_claims.yaml&corpus=demo_data/marrowby_corpus.csv")
    assert page.locator("#row-3").inner_text().count("not yet") == 3
    page.locator("#count", has_text="3 of 3 weighed").wait_for()
    assert "not yet" not in page.locator("table.claims").inner_text()
    assert page.locator("#told").inner_text() == "3 of 3 claims weighed."
    assert page.locator("#share").evaluate("(bar) => bar.value === bar.max")
    drawn = page.locator("#grounds-1 img")
    assert drawn.evaluate("(image) => image.complete && image.naturalWidth > 100")


def test_a_claim_is_weighed_without_a_script(look):
    page = look.at(java_script_enabled=False)
    page.goto("/claims?file=demo_data/marrowby_claims.yaml")
    page.get_by_role("button", name="Weigh this claim").first.click()
    assert page.locator("h1").inner_text() == "dowels-early"
    assert page.locator(".verdict").inner_text()
