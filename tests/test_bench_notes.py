"""Notes on the pages: the words of the command, of a file or of a form, in every format."""

import html
import json
import re
import zipfile
from dataclasses import asdict
from io import BytesIO
from pathlib import Path

import pytest
from click.testing import CliRunner

from dating.bench import note_page
from dating.bench.answers import fields_of
from dating.cli.main import main
from dating.estimates import estimate
from dating.files import read_examination, read_maker
from dating.notes.note import note_of
from tests.serving import ask, copied_demo, held_by, pages_of

FILE, MAKER = "demo_data/examinations/M-003.yaml", "priors/marrowby.yaml"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return copied_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def app(folder):
    return pages_of(folder)


@pytest.fixture(scope="module")
def form(folder):
    """The fields of the page's own form, as they stand for the file."""
    fields = fields_of(read_examination(folder / FILE))
    return {**fields, "file": FILE, "maker_file": MAKER}


def words_of(page):
    text = re.sub(r"<[^>]+>", " ", re.sub(r'(src|srcset)="data:[^"]*"', "", page))
    return " ".join(html.unescape(text).replace("\N{NO-BREAK SPACE}", " ").split())


def by_command(folder, *options):
    result = CliRunner().invoke(main, ["note", str(folder / FILE), *options])
    assert result.exit_code == 0, result.output
    return result.stdout


OPTIONS = [
    ({}, ()),
    ({"wording.language": "de"}, ("--language", "de")),
    ({"wording.dates": "american"}, ("--dates", "american")),
    ({"wording.circa": "10", "wording.level": "0.95"}, ("--circa", "10", "--level", "0.95")),
    ({"wording.level": "0.5"}, ("--level", "0.5")),
]


@pytest.mark.parametrize(("chosen", "options"), OPTIONS)
def test_a_note_as_markdown_is_that_of_the_command(app, folder, form, chosen, options):
    answer = ask(app, "POST", "/note/file", query={"as": "md"}, body={**form, **chosen})
    assert answer.status == 200
    assert answer.text.strip() == by_command(folder, *options).strip()


def texts_of(data):
    """Give every text of a note but its picture's, which is an attribute, and its code of EDTF."""
    if isinstance(data, dict):
        for name, value in data.items():
            if name not in {"picture", "language", "short", "edtf"}:
                yield from texts_of(value)
    elif isinstance(data, (list, tuple)):
        for value in data:
            yield from texts_of(value)
    elif isinstance(data, str):
        yield data


@pytest.mark.parametrize("chosen", [chosen for chosen, _ in OPTIONS])
def test_the_page_says_what_the_note_says(app, folder, form, chosen):
    shown = ask(app, "POST", "/note/preview", body={**form, **chosen})
    assert shown.status == 200
    wording = note_page.wording_in(chosen)
    seen = read_examination(folder / FILE)
    made = estimate(read_maker(folder / MAKER), seen, level=wording.level)
    text, said = words_of(shown.text), list(texts_of(asdict(note_of(made, wording))))
    assert len(said) > 40
    for one in said:
        assert " ".join(one.replace("\N{NO-BREAK SPACE}", " ").split()) in text
    assert shown.text.count("data:image/svg+xml;base64,") == 2


def test_the_page_of_a_file_is_that_of_its_form(app, form):
    looked = ask(app, address="/note", query={"file": FILE})
    sent = ask(app, "POST", "/note/preview", body=form)
    assert looked.status == 200
    assert looked.text == sent.text
    hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', looked.text)
    kept = {(html.unescape(name), html.unescape(value)) for name, value in hidden}
    assert set(form.items()) == kept


def test_an_unsaved_answer_changes_the_note_and_it_no_longer_names_the_file(app, form):
    saved = ask(app, "POST", "/note/preview", body=form).text
    assert "M-003.yaml, SHA-256" in saved
    other = {**form, "seen.heel-joint.state": "=dovetail"}
    assert form["seen.heel-joint.state"] != "=dovetail"
    unsaved = ask(app, "POST", "/note/preview", body=other)
    assert unsaved.status == 200
    assert "M-003.yaml, SHA-256" not in unsaved.text
    assert re.search(r'class="statement">[^<]+', unsaved.text)[0] not in saved


@pytest.mark.parametrize("ending", sorted(note_page.FORMATS))
def test_every_format_is_given_as_a_file(app, folder, form, ending, tmp_path):
    before = held_by(folder)
    answer = ask(app, "POST", "/note/file", query={"as": ending}, body=form)
    assert answer.status == 200
    assert answer.headers["content-disposition"] == f'attachment; filename="M-003.{ending}"'
    assert answer.headers["content-type"] == note_page.FORMATS[ending].media
    assert answer.headers["x-content-type-options"] == "nosniff"
    starts = {"pdf": b"%PDF-", "docx": b"PK", "html": b"<!DOCTYPE html>", "md": b"", "jsonld": b"{"}
    assert answer.body.startswith(starts[ending])
    assert held_by(folder) == before
    if ending in {"md", "html"}:
        assert "M-003" in answer.text
    if ending == "docx":
        assert b"M-003" in zipfile.ZipFile(BytesIO(answer.body)).read("word/document.xml")
    if ending == "jsonld":
        assert json.loads(answer.text)["type"] == "HumanMadeObject"
    if ending != "md":
        key = note_page.FORMATS[ending].key
        arguments = ["note", str(folder / FILE), "--out", str(tmp_path), "--as", key]
        assert CliRunner().invoke(main, arguments).exit_code == 0
        assert (tmp_path / f"M-003.{ending}").read_bytes() == answer.body


@pytest.mark.parametrize(
    "instrument", ["../../x", 'a"; filename="b.exe', "Größe/7", "\u202egpj", "CON", "木"]
)
def test_no_name_of_an_instrument_leads_elsewhere(app, form, instrument):
    sent = {**form, "instrument": instrument, "file": ""}
    answer = ask(app, "POST", "/note/file", query={"as": "md"}, body=sent)
    if answer.status == 200:
        wanted = r'attachment; filename="[A-Za-z0-9][A-Za-z0-9-]{0,59}\.md"'
        assert re.fullmatch(wanted, answer.headers["content-disposition"])
        assert '"CON.md' not in answer.headers["content-disposition"]
    else:
        assert answer.status == 422


@pytest.mark.parametrize(
    ("sent", "query", "status"),
    [
        ({}, {}, 400),
        ({}, {"as": "exe"}, 400),
        ({"maker_file": ""}, {"as": "md"}, 400),
        ({"maker_file": "none.yaml"}, {"as": "md"}, 404),
        ({"maker_file": "../x.yaml"}, {"as": "md"}, 404),
        ({"maker_file": FILE}, {"as": "md"}, 422),
        ({"learned": FILE}, {"as": "md"}, 422),
        ({"instrument": ""}, {"as": "md"}, 422),
        ({"seen.heel-joint.state": "=none-such"}, {"as": "md"}, 422),
        ({"wording.language": "../en"}, {"as": "md"}, 422),
        ({"wording.language": "/etc/x.yaml"}, {"as": "md"}, 422),
        ({"wording.dates": "roman"}, {"as": "md"}, 422),
        ({"wording.circa": "7"}, {"as": "md"}, 422),
        ({"wording.circa": "0"}, {"as": "md"}, 422),
        ({"wording.level": "0"}, {"as": "md"}, 422),
        ({"wording.level": "1"}, {"as": "md"}, 422),
        ({"wording.level": "900 %"}, {"as": "md"}, 422),
        ({"wording.level": "nan"}, {"as": "md"}, 422),
        ({"wording.level": "1e-999"}, {"as": "md"}, 422),
    ],
)
def test_what_cannot_be_written_is_told_in_words(app, form, sent, query, status):
    answer = ask(app, "POST", "/note/file", query=query, body={**form, **sent})
    assert answer.status == status
    assert 'id="trouble"' in answer.text
    assert "content-disposition" not in answer.headers


def test_no_language_is_read_from_a_file_that_a_form_names(app, form, tmp_path):
    own = Path(note_page.__file__).parents[1] / "notes" / "languages" / "en.yaml"
    outside = tmp_path / "own.yaml"
    outside.write_bytes(own.read_bytes())
    sent = {**form, "wording.language": str(outside)}
    answer = ask(app, "POST", "/note/file", query={"as": "md"}, body=sent)
    assert answer.status == 422
    assert "no such language" in answer.text


def test_a_missing_library_is_named(app, form, monkeypatch):
    monkeypatch.setattr(note_page, "find_spec", lambda name: None if name == "typst" else True)
    answer = ask(app, "POST", "/note/file", query={"as": "pdf"}, body=form)
    assert answer.status == 422
    assert "a note as PDF needs typst; install instrument-dating[note]" in answer.text


def test_without_pictures_the_page_is_shown_all_the_same(app, form, monkeypatch):
    monkeypatch.setattr(note_page, "find_spec", lambda name: None)
    answer = ask(app, "POST", "/note/preview", body=form)
    assert answer.status == 200
    assert "data:image" not in answer.text


def test_a_fault_in_a_file_is_told_with_its_line(tmp_path):
    folder = copied_demo(tmp_path)
    (folder / "faulty.yaml").write_text("instrument: X\nmaker: marrowby\nseen: {ring: gilded}\n")
    answer = ask(pages_of(folder), address="/note", query={"file": "faulty.yaml"})
    assert answer.status == 422
    assert "faulty.yaml, line 3: seen.ring" in words_of(answer.text)


def test_a_fault_in_a_form_is_told_without_a_line(tmp_path):
    app = pages_of(copied_demo(tmp_path))
    form = {"maker_file": "priors/marrowby.yaml", "maker": "marrowby", "instrument": "X"}
    answer = ask(app, "POST", "/note/preview", body={**form, "seen.ring.state": "=gilded"})
    assert "gilded" in answer.text
    assert "line 0" not in answer.text
