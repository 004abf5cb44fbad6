"""Instruments side by side on the pages: the numbers of the command, arranged as is asked."""

import html
import re

import pytest

from dating import compare, read_examination, read_group, read_maker
from dating.bench import comparison_page
from dating.words.succession import trust_words
from dating.words.succession_rows import known_lines, neighbour_words, row_lines
from tests.serving import ask, copied_demo, pages_of

FOUR = [f"demo_data/examinations/M-00{number}.yaml" for number in (1, 2, 3, 4)]
GROUP = "demo_data/marrowby_group.yaml"
ORIGIN = "http://127.0.0.1:8000"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return copied_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def app(folder):
    return pages_of(folder)


def asked(app, files, **more):
    query = {f"file-{number}": file for number, file in enumerate(files, start=1)} | more
    answer = ask(app, address="/compare", query=query)
    return answer.status, answer.text


def plain(text):
    """The words of a page as they are read."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\xa0", " ").split())


def instruments(text):
    """The instruments in the order in which they are shown."""
    return re.findall(r'<a href="/examine\?file=[^"]*">([^<]*)</a>', text)


@pytest.fixture(scope="module")
def comparison(folder):
    maker = read_maker(folder / "priors/marrowby.yaml")
    four = [read_examination(folder / file) for file in FOUR]
    return compare(maker, four, group=read_group(folder / GROUP))


def test_what_is_shown_is_what_is_compared(app, comparison):
    status, text = asked(app, FOUR, known=GROUP)
    assert status == 200
    words = plain(text)
    assert instruments(text) == list(comparison.row)
    for line in row_lines(comparison):
        assert f"{line.name} {line.built}" in words
        assert f"median {line.median}; place {line.place} in the row" in words
    for pair in comparison.neighbours:
        assert plain(neighbour_words(pair)) in words
    for sentence in trust_words(comparison):
        assert plain(sentence) in words
    for line in known_lines(comparison):
        assert f"{plain(line.what)} {plain(line.before)} {plain(line.after)}" in words
    assert words.count("How invasive") >= 1


def test_no_two_things_on_the_page_have_one_name(app):
    _, text = asked(app, FOUR, known=GROUP)
    names = re.findall(r'\bid="([^"]*)"', text)
    assert len(names) > 10
    assert len(names) == len(set(names))
    assert set(re.findall(r'\bfor="([^"]*)"', text)) <= set(names)


def test_no_path_of_the_machine_is_shown(app, folder):
    _, text = asked(app, FOUR, known=GROUP)
    assert "Maker file: priors/marrowby.yaml" in plain(text)
    assert str(folder) not in text


def test_a_group_file_alone_sets_its_instruments_side_by_side(app, comparison):
    answer = ask(app, address="/compare", query={"known": GROUP})
    assert answer.status == 200
    assert instruments(answer.text) == list(comparison.row)


def test_without_a_group_file_nothing_is_known_between_them(app):
    status, text = asked(app, FOUR)
    assert status == 200
    assert "Known between them" not in plain(text)
    assert f'<option value="{GROUP}">' in text


def test_they_are_arranged_by_name_and_by_what_was_seen(app, comparison):
    _, by_name = asked(app, FOUR, known=GROUP, by="name")
    assert instruments(by_name) == sorted(comparison.names)
    _, by_heel = asked(app, FOUR, known=GROUP, by="seen.heel-joint")
    assert instruments(by_heel) == ["M-004", "M-001", "M-002", "M-003"]
    assert '<option value="seen.heel-joint" selected>' in by_heel
    _, unknown = asked(app, FOUR, known=GROUP, by="<script>")
    assert instruments(unknown) == list(comparison.row)
    assert "<script>" not in unknown.replace("<script src", "")


def test_nothing_is_compared_again_where_only_the_arrangement_changes(folder, monkeypatch):
    made = []

    def counted(*given, **more):
        made.append(given)
        return compare(*given, **more)

    monkeypatch.setattr(comparison_page, "compare", counted)
    app = pages_of(folder)
    for by in ("date", "name", "seen.heel-joint"):
        assert asked(app, FOUR[:2], by=by)[0] == 200
    assert len(made) == 1
    assert asked(app, FOUR[1:3])[0] == 200
    assert len(made) == 2


@pytest.mark.parametrize(
    ("files", "more", "status", "words"),
    [
        ([], {}, 400, "two examinations or more"),
        (FOUR[:1], {}, 400, "two examinations or more"),
        ([FOUR[0], FOUR[0]], {}, 400, "two examinations or more"),
        ([*FOUR, "nothing.yaml"], {}, 404, "no file of that name"),
        ([*FOUR, "../secret.yaml"], {}, 404, "no file of that name"),
        ([FOUR[0], "priors/marrowby.yaml"], {}, 422, "this is a maker file"),
        ([FOUR[0], "demo_data/velquist_examinations/V-001.yaml"], {}, 422, "of one maker"),
        (FOUR, {"known": "priors/marrowby.yaml"}, 422, "a group file is expected"),
        (FOUR[:2], {"known": GROUP}, 422, "M-004"),
        ([f"x{number}.yaml" for number in range(41)], {}, 400, "too many to wait for"),
    ],
)
def test_what_cannot_be_shown_is_told(app, files, more, status, words):
    answered, text = asked(app, files, **more)
    assert answered == status
    assert words in plain(text)


def test_an_instrument_in_two_files_is_told(app, folder):
    (folder / "again.yaml").write_bytes((folder / FOUR[0]).read_bytes())
    status, text = asked(app, [FOUR[0], "again.yaml"])
    assert status == 422
    assert "comes twice" in plain(text)


def test_the_first_page_offers_every_examination(app):
    text = ask(app, address="/").text
    for file in FOUR:
        assert re.search(
            rf'<input type="checkbox" form="side" name="file-\d+" value="{file}">', text
        )
    assert '<form id="side" method="get" action="/compare">' in text
    assert f'href="/compare?known={GROUP.replace("/", "%2F")}"' in text


def sent(app, files, **fields):
    body = {f"file-{number}": file for number, file in enumerate(files, start=1)}
    headers = [("content-type", "application/x-www-form-urlencoded"), ("origin", ORIGIN)]
    answer = ask(app, "POST", "/compare/known", headers=headers, body=body | fields)
    return answer.status, answer.text


OLDER = {
    "kind": "older", "in-1": "M-001", "in-2": "M-003", "first": "M-003", "at_least": "3",
    "source": "a letter: “older”", "trust": "0.9",
}  # fmt: skip


def test_what_is_known_begins_a_group_file(tmp_path):
    folder = copied_demo(tmp_path)
    status, text = sent(pages_of(folder), FOUR, **OLDER)
    assert status == 200
    group = read_group(folder / "known_between_1.yaml")
    (relation,) = group.known
    assert relation.content.instruments == ("M-003", "M-001")
    assert (relation.content.at_least, relation.trust) == (3, 0.9)
    assert relation.source == "a letter: “older”"
    words = plain(text)
    assert "Saved in known_between_1.yaml." in words
    assert "M-003 is at least 3 months older than M-001" in words
    assert group.invented
    again = ask(pages_of(folder), address="/compare", query={"known": "known_between_1.yaml"})
    assert again.status == 200
    assert sorted(instruments(again.text)) == ["M-001", "M-002", "M-003", "M-004"]


def test_a_statement_is_added_and_every_other_byte_kept(tmp_path):
    folder = copied_demo(tmp_path)
    before = (folder / GROUP).read_bytes()
    fields = {"kind": "photographed", "in-2": "M-002", "in-4": "M-004", "date": "1933"}
    status, text = sent(pages_of(folder), FOUR, known=GROUP, source="a photograph", **fields)
    assert status == 200
    after = (folder / GROUP).read_bytes()
    assert after.startswith(before.rstrip())
    assert read_group(folder / GROUP).known[-1].content.instruments == ("M-002", "M-004")
    assert "were photographed together, not after December 1933" in plain(text)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({**OLDER, "source": ""}, "this key is missing"),
        ({**OLDER, "at_least": "soon"}, "at_least"),
        ({**OLDER, "in-1": ""}, "at least 2"),
        ({**OLDER, "trust": "2"}, "a number of at most 1 is"),
        ({**OLDER, "folder": "another"}, "a different folder"),
        ({"kind": "apart", "in-1": "M-001", "in-2": "M-002", "source": "x"}, "missing"),
        ({"kind": "photographed", "in-1": "M-001", "in-2": "M-002", "source": "x", "date": "soon"},
         "date"),
    ],
)  # fmt: skip
def test_what_cannot_be_added_is_told_and_nothing_is_lost(tmp_path, fields, words):
    folder = copied_demo(tmp_path)
    before = {file: file.read_bytes() for file in folder.rglob("*.yaml")}
    status, text = sent(pages_of(folder), FOUR, known=GROUP, **fields)
    assert status == 422
    assert words in plain(text)
    assert "Nothing was saved" in plain(text)
    if fields.get("at_least"):
        assert (
            f'name="at_least" inputmode="numeric" autocomplete="off" value="{fields["at_least"]}"'
            in text
        )
    assert {file: file.read_bytes() for file in folder.rglob("*.yaml")} == before


def test_a_contradiction_is_not_saved(tmp_path):
    folder = copied_demo(tmp_path)
    app = pages_of(folder)
    certain = {**OLDER, "trust": "1"}
    assert sent(app, FOUR, **certain)[0] == 200
    other = {**certain, "first": "M-001", "known": "known_between_1.yaml"}
    status, text = sent(app, FOUR, **other)
    assert status == 422
    assert "cannot both be so" in plain(text)
    assert len(read_group(folder / "known_between_1.yaml").known) == 1


def test_an_unknown_kind_is_refused(app):
    assert sent(app, FOUR, kind="younger")[0] == 400


def test_the_form_keeps_the_arrangement(app):
    _, text = asked(app, FOUR[:2], by="name")
    form = text[text.index('<form class="adding"') :]
    assert '<input type="hidden" name="by" value="name">' in form


def test_a_statement_is_added_once(tmp_path):
    folder = copied_demo(tmp_path)
    app = pages_of(folder)
    assert sent(app, FOUR, **OLDER)[0] == 200
    before = (folder / "known_between_1.yaml").read_bytes()
    status, text = sent(app, FOUR, known="known_between_1.yaml", **OLDER)
    assert status == 422
    assert "this statement is there already" in plain(text)
    assert (folder / "known_between_1.yaml").read_bytes() == before


def test_nothing_is_added_to_what_is_no_group_file(tmp_path):
    folder = copied_demo(tmp_path)
    before = (folder / "priors/marrowby.yaml").read_bytes()
    status, text = sent(pages_of(folder), FOUR, known="priors/marrowby.yaml", **OLDER)
    assert status == 422
    assert "a group file is expected" in plain(text)
    assert (folder / "priors/marrowby.yaml").read_bytes() == before


def test_a_form_of_another_page_adds_nothing(tmp_path):
    folder = copied_demo(tmp_path)
    headers = [
        ("content-type", "application/x-www-form-urlencoded"),
        ("origin", "http://elsewhere.example"),
    ]
    body = {f"file-{number}": file for number, file in enumerate(FOUR, start=1)} | OLDER
    answer = ask(pages_of(folder), "POST", "/compare/known", headers=headers, body=body)
    assert answer.status == 403
    assert not list(folder.glob("known_between_*"))


def test_consecutive_numbers_are_added_in_the_order_of_their_places(tmp_path):
    folder = copied_demo(tmp_path)
    fields = {"kind": "consecutive", "source": "work numbers inside", "at_most": "2"}
    ticked = {"in-1": "M-001", "in-3": "M-003"}
    status, text = sent(pages_of(folder), FOUR, **fields, **ticked)
    assert status == 422
    assert "a place of its own by its work number" in plain(text)
    assert not list(folder.glob("known_between_*"))
    places = {"place-1": "2", "place-3": "1", "place-2": "7"}
    status, text = sent(pages_of(folder), FOUR, **fields, **ticked, **places)
    assert status == 200
    (relation,) = read_group(folder / "known_between_1.yaml").known
    assert relation.consecutive.instruments == ("M-003", "M-001")
    assert relation.consecutive.within == 2
    assert "M-003 and M-001 have consecutive work numbers" in plain(text)


def test_they_are_arranged_by_owner_and_names_by_the_size_of_numbers(tmp_path):
    folder = copied_demo(tmp_path)
    owners = {1: "owner B", 2: "", 3: "owner A", 4: "owner B"}
    for number, owner in owners.items():
        file = folder / FOUR[number - 1]
        text = file.read_text("utf-8").replace(f"M-00{number}", f"M-{12 - number}")
        file.write_text(text + (f"owner: {owner}\n" if owner else ""), "utf-8")
    app = pages_of(folder)
    _, by_name = asked(app, FOUR, by="name")
    assert instruments(by_name) == ["M-8", "M-9", "M-10", "M-11"]
    _, by_owner = asked(app, FOUR, by="owner")
    first, *both, last = instruments(by_owner)
    assert (first, set(both), last) == ("M-9", {"M-8", "M-11"}, "M-10")
    assert plain(by_owner).count("; owner B") == 2
    _, by_heel = asked(app, FOUR, by="seen.heel-joint")
    assert '<option value="owner">owner</option>' in by_heel
    shown = [line for line in plain(by_heel).split(" median ") if "; " in line]
    assert [line.rpartition("; ")[2] for line in shown[:4]] == [
        "tapered dovetail", "two dowels", "two dowels", "two wood screws from inside"
    ]  # fmt: skip


def test_nobody_is_asked_to_arrange_by_owners_that_are_not_known(app):
    _, text = asked(app, FOUR)
    assert '<option value="owner">' not in text


def test_all_of_a_maker_are_set_side_by_side(app, folder):
    first = ask(app, address="/").text
    assert 'href="/compare?maker=priors%2Fmarrowby.yaml"' in first
    (folder / "again.yaml").unlink(missing_ok=True)
    answer = ask(app, address="/compare", query={"maker": "priors/marrowby.yaml"})
    assert answer.status == 200
    files = {file.stem for file in (folder / "demo_data/examinations").glob("*.yaml")}
    assert set(instruments(answer.text)) == files
    assert ask(app, address="/compare", query={"maker": "nothing.yaml"}).status == 400


def how_far(app):
    answer = ask(app, "POST", "/compare/progress", headers=[("origin", ORIGIN)])
    assert answer.status == 200
    return plain(answer.text)


def test_the_page_says_how_far_a_comparison_is(folder, monkeypatch):
    shown = []

    def watched(*given, progress, **more):
        def tell(drawn, most):
            progress(drawn, most)
            shown.append(how_far(app))

        return compare(*given, progress=tell, **more)

    monkeypatch.setattr(comparison_page, "compare", watched)
    app = pages_of(folder)
    assert how_far(app) == "Reading the examinations"
    assert asked(app, FOUR[:2])[0] == 200
    assert re.fullmatch(
        r"Setting them side by side [0-9,]+ draws of what is uncertain, 8,192 at most", shown[0]
    )
