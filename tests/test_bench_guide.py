"""The guide as pages: every text, key and rule is there, and every link leads to what it names."""

import html
import re

import pytest

from dating.bench.guide_markup import markup_of
from dating.bench.guide_page import LINKS
from dating.notes.rules import rules_text
from dating.schemas import MODELS, schema_of
from dating.words.guide import PICTURES, TOPICS, guide_markdown
from dating.words.reference import reference_of
from tests.serving import Page, ask, pages_of


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    """The guide needs no file of the folder that is served."""
    return pages_of(tmp_path_factory.mktemp("empty"))


def shown(app, address):
    place, _, query = address.partition("#")[0].partition("?")
    answer = ask(app, address=place, query=query)
    assert answer.status == 200, address
    return answer.text


def words_of(text):
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).replace("\u00a0", " ").split())


def test_every_page_has_a_link_to_the_guide(app):
    assert "/guide" in Page(ask(app).text).links
    assert "/guide" in Page(ask(app, address="/nothing").text).links
    assert {link.address for link in LINKS} <= set(Page(shown(app, "/guide")).links)


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_is_shown_whole(app, topic):
    markdown = guide_markdown(topic)
    page = shown(app, f"/guide?topic={topic}")
    titles = re.findall(r"^#+ (.*)$", re.sub(r"(?ms)^```.*?^```$", "", markdown), re.MULTILINE)
    headings = [words_of(title) for title in re.findall(r"<h[1-3][^>]*>(.*?)</h[1-3]>", page)]
    assert [re.sub(r"[`\s]", "", t) for t in titles] == [re.sub(r"\s", "", h) for h in headings]
    code = re.findall(r"<pre[^>]*><code>(.*?)</code></pre>", page, re.DOTALL)
    blocks = re.findall(r"^```\w+\n(.*?)^```$", markdown, re.DOTALL | re.MULTILINE)
    assert set(blocks) <= {html.unescape(block) for block in code}
    assert page.count("<table>") == markdown.count("|---|---|\n")


@pytest.mark.parametrize("address", ["/guide", *(link.address for link in LINKS)])
def test_every_link_of_the_guide_leads_to_what_it_names(app, address):
    page = shown(app, address)
    for link in Page(page).links:
        target, _, place = link.partition("#")
        assert not re.match(r"[a-z]+:", link), link
        text = shown(app, target) if target else page
        assert not place or f'id="{place}"' in text, link


def test_a_command_that_shows_a_page_leads_to_it(app):
    links = Page(shown(app, "/guide?topic=files")).links
    assert links.count("/guide/keys?of=maker") > 1  # beside the list of all pages
    assert Page(shown(app, "/guide?topic=house")).links.count("/guide/rules") > 1


def test_every_picture_is_shown_with_its_words(app):
    named = set()
    for topic in TOPICS:
        pictures = re.findall(r"!\[([^\]]*)\]\(pictures/([^)]*)\)", guide_markdown(topic))
        page = shown(app, f"/guide?topic={topic}")
        for words, name in pictures:
            (tag,) = re.findall(rf'<img src="/guide/pictures/{name}"[^>]*>', page)
            assert html.escape(words, quote=False) in tag.replace("\u00a0", " ")
            answer = ask(app, address=f"/guide/pictures/{name}")
            assert answer.body == (PICTURES / name).read_bytes()
            assert answer.headers["content-type"].startswith("image/")
            named.add(name)
    assert len(named) > 2
    assert named | {"M-001.png"} == {path.name for path in PICTURES.iterdir()}


@pytest.mark.parametrize("kind", MODELS)
def test_every_key_is_shown_with_its_words(app, kind):
    words = words_of(shown(app, f"/guide/keys?of={kind}"))
    sections = reference_of(schema_of(kind))
    assert sum(len(section.keys) for section in sections) > 10
    for section in sections:
        assert f"{section.title} {section.about}" in words
        for key in section.keys:
            needed = " needed" if key.needed else ""
            told = re.sub(r"\(see ", "(see  ", key.words)
            expected = " ".join(f"{key.name}{needed} {told}".split())
            assert expected in words.replace(" )", ")"), expected


def test_the_rules_stand_on_their_page(app):
    words = words_of(shown(app, "/guide/rules"))
    for line in re.split(r"\n(?=\n|[0-9]+\. | *- )", rules_text()):
        text = re.sub(r"^\s*([0-9]+\.|-) ", "", line)
        text = text.replace("*", "").replace("`", "")
        said = re.sub(r"\s", "", html.unescape(text))
        assert said in re.sub(r"\s", "", words), line


@pytest.mark.parametrize(
    "address",
    ["/guide?topic=none", "/guide?topic=../../maker", "/guide/keys", "/guide/keys?of=x"],
)
def test_what_is_not_in_the_guide_is_told(app, address):
    place, _, query = address.partition("?")
    answer = ask(app, address=place, query=query)
    assert answer.status == 404
    assert "There is no such page." in answer.text


@pytest.mark.parametrize("name", ["../model.md", "model.md", "%2e%2e/model.md", "", "none.png"])
def test_nothing_but_pictures_comes_from_their_folder(app, name):
    assert ask(app, address=f"/guide/pictures/{name}").status == 404


def test_markup_in_a_text_stays_text():
    title, page = markup_of("# <b>x</b>\n\n<script>y</script>\n\n[z](javascript:a) `<i>`\n", {})
    assert title == "<b>x</b>"
    assert not {"script", "b", "i", "a"} & Page(page).elements
