"""Learned files: damaged ones are refused in plain words, and unsound draws are told of."""

import json
import random
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
import yaml
from click.testing import CliRunner
from matplotlib.backends.backend_agg import FigureCanvasAgg

import dating
from dating.cli.main import main
from dating.figures.estimate import draw_estimate
from dating.learning.files import read_draws, read_learned, write_learned
from dating.learning.health import Health
from dating.learning.latent.mixture import Mixture, Settings
from dating.learning.latent.time_cells import Cells
from dating.learning.latent.variants import Latent
from dating.learning.learned import learned_from
from dating.learning.levels import Correction
from dating.learning.prior import prior_draws
from dating.notes.house import house
from dating.notes.index import index_html, index_markdown, index_of
from dating.notes.languages import language
from dating.notes.note import note_of
from dating.notes.sale import entry_of
from dating.notes.sentences import Wording
from dating.words.soundness import on_soundness
from tests.calibrating import one_ramp_learned
from tests.learning import MAKER, tree_with, written

DAMAGED = 400
BAD = Health(1.2, 30.0, 3, "ends, regime 2, first use")
FREE = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1930
components:
  case:
    features:
      ends: {ask: What are the ends made of?, states: [wood, metal], free_form: true}
"""


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A small learned file of one ramp, with its maker, and what it says of one instrument."""
    folder = tmp_path_factory.mktemp("small")
    made = one_ramp_learned(folder, draws=64)
    write_learned(made.tree, folder / "learned.nc")
    (folder / "x.yaml").write_text("instrument: X\nmaker: example\nseen: {ends: metal}\n")
    seen = dating.read_examination(folder / "x.yaml")
    return SimpleNamespace(
        folder=folder,
        maker=made.maker,
        tree=made.tree,
        path=folder / "learned.nc",
        seen=seen,
        date=dated(read_draws(folder / "learned.nc", made.maker), made.maker, seen),
    )


def dated(learned, maker, seen):
    return dating.posteriors(maker, [seen], learned).values[0]


def damaged(content, rng):
    """Change, lose, add or exchange bytes somewhere."""
    at, length = rng.randrange(len(content)), rng.choice([1, 8, 64, 512])
    before, hit, after = content[:at], content[at : at + length], content[at + length :]
    change = rng.choice(["flip", "flip", "flip", "cut", "zero", "fill", "insert", "drop", "swap"])
    return {
        "flip": before + bytes([hit[0] ^ 1 << rng.randrange(8)]) + hit[1:] + after,
        "cut": before,
        "zero": before + bytes(len(hit)) + after,
        "fill": before + b"\xff" * len(hit) + after,
        "insert": before + rng.randbytes(length) + hit + after,
        "drop": before + after,
        "swap": after[:length] + before[length:] + hit + before[:length] + after[length:],
    }[change]


def test_damaged_files_are_refused_or_give_the_same_date(small, tmp_path):
    """None gives a traceback, numbers that are none, or another date in silence."""
    rng, content, refused = random.Random(14), small.path.read_bytes(), []
    path = tmp_path / "damaged.nc"
    for _ in range(DAMAGED):
        path.write_bytes(damaged(content, rng))
        try:
            learned = read_draws(path, small.maker)
        except dating.InputError as error:
            refused.append(str(error))
            continue
        assert np.array_equal(dated(learned, small.maker, small.seen), small.date)
    assert len(refused) > 0.9 * DAMAGED
    assert all(said.startswith(f"{path}: ") for said in refused)


def test_a_damaged_file_stops_the_command_in_plain_words(small, tmp_path):
    content = bytearray(small.path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    (tmp_path / "learned.nc").write_bytes(bytes(content))
    arguments = ("--maker", small.folder / "example.yaml", "--learned", tmp_path / "learned.nc")
    refused = run("estimate", small.folder / "x.yaml", *arguments)
    assert refused.exit_code == 1
    assert "damaged: a part of it has changed; learn again with dating learn" in " ".join(
        refused.output.split()
    )


def test_a_copy_that_another_program_has_written_is_refused(small, tmp_path):
    """The library may crash on a damaged file, so that no bytes but our own are handed to it."""
    with xr.open_datatree(small.path, engine="h5netcdf") as tree:
        tree.load()
    tree.to_netcdf(tmp_path / "copy.nc", engine="h5netcdf")
    with pytest.raises(dating.InputError, match="bears no seal, so it was cut short, or another"):
        read_draws(tmp_path / "copy.nc", small.maker)


@pytest.mark.parametrize(
    ("version", "said"),
    [
        ("instrument-dating learned 4", "written by an earlier version of this project; learn"),
        ("instrument-dating learned 99", "written by another version of this project; learn"),
        ("another format", "not a file that dating learn has written; learn"),
    ],
)
def test_a_file_of_another_version_is_refused(small, tmp_path, version, said):
    tree = small.tree.copy()
    tree.attrs = {**tree.attrs, "format": version}
    write_learned(tree, tmp_path / "other.nc")
    with pytest.raises(dating.InputError, match=said):
        read_draws(tmp_path / "other.nc", small.maker)


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    """A few draws of a maker that has every kind of number to be learned."""
    row = [("a", "1930-05", 1, "wood")]
    maker, corpus = written(tmp_path_factory.mktemp("many"), MAKER, row)
    drawn = prior_draws(maker).thinned(16)
    names = {"value": "values", "share": "shares", "mean": "means", "spread": "spreads"}
    arrays = {
        name: getattr(drawn, names.get(name, name))[None]
        for name in ("value", "share", "slip", "replaced", "mean", "spread")
    }
    return SimpleNamespace(maker=maker, tree=tree_with(maker, arrays, corpus.fingerprint))


def test_draws_are_put_back_in_their_places(many):
    drawn, kept = prior_draws(many.maker).thinned(16), learned_from(many.tree)
    for name in ("values", "shares", "slip", "replaced", "means", "spreads"):
        np.testing.assert_array_equal(getattr(kept, name), getattr(drawn, name), err_msg=name)
    assert kept.numbers == drawn.numbers


# What is sealed and cannot be right ----------------------------------------------------------


def of_posterior(name, change):
    """Change one array of the draws."""

    def changing(tree):
        posterior = tree["posterior"].to_dataset()
        array = posterior[name]
        tree["posterior"] = xr.DataTree(posterior.assign({name: change(array.copy(deep=True))}))

    return changing


def setting(place, value):
    def change(array):
        array.values[place] = value
        return array

    return change


def without(name):
    def changing(tree):
        tree["posterior"] = xr.DataTree(tree["posterior"].to_dataset().drop_vars(name))

    return changing


def no_draws(tree):
    del tree["posterior"]


def few_draws(tree):
    tree["posterior"] = xr.DataTree(tree["posterior"].to_dataset().isel(draw=slice(7)))


def words_for_numbers(array):
    return array.astype(str)


def stated_otherwise(tree):
    tree["constant_data"]["stated_slip"].values[0] += 0.01


def nothing_stated(tree):
    del tree["constant_data"]


def a_stray_latent(tree):
    tree["latent"] = xr.DataTree(xr.Dataset({"weight": ("fit", [1.0])}))


def falling_levels(tree):
    held = Correction(np.linspace(0, 1, 11)[::-1], 30)
    tree["levels"] = xr.DataTree(held.dataset())


def no_levels(tree):
    tree["levels"] = xr.DataTree(xr.Dataset(attrs={"instruments": 30}))


def no_corpus(tree):
    tree.attrs["corpus_fingerprint"] = "none"


def no_seed(tree):
    tree.attrs["seed"] = "x"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (of_posterior("slip", setting((0, 3, 0), 1.5)), "posterior/slip: a chance lies from 0"),
        (of_posterior("replacement", setting((0, 3, 0), -0.1)), "posterior/replacement: a chance"),
        (of_posterior("slip", setting((0, 3, 0), np.nan)), "posterior/slip: numbers are missing"),
        (
            of_posterior("first_use", setting((0, 3, 0), np.inf)),
            "posterior/first_use: numbers are missing",
        ),
        (of_posterior("first_use", setting((0, 3, 2), 12_000)), "posterior/first_use: dates lie"),
        (of_posterior("overlap", setting((0, 3, 0), -1)), "posterior/overlap: .*overlaps below"),
        (of_posterior("share", setting((0, 3, 0), 0.5)), "must sum to one"),
        (of_posterior("share", setting((0, 3), [2, -1])), "a share lies from 0 to 1"),
        (of_posterior("slip", lambda a: a.isel(slip_feature=0)), "slip: has another shape"),
        (of_posterior("slip", words_for_numbers), "posterior/slip: must hold numbers"),
        (of_posterior("regime_state", lambda a: a[::-1]), "posterior/regime_state: names differ"),
        (without("first_use"), "posterior/first_use: is missing"),
        (without("changeover"), "posterior/changeover: names differ"),
        (without("replacement"), "posterior/replacement: is missing"),
        (stated_otherwise, "constant_data/stated_slip: differs from what the maker file states"),
        (nothing_stated, "constant_data: what the maker file states is missing"),
        (no_draws, "posterior: there are no draws"),
        (few_draws, "posterior: has too few draws"),
        (a_stray_latent, "latent: free-form shares are none of this maker's"),
        (falling_levels, "levels/held: must rise from 0 to 1"),
        (no_levels, "levels/held: is missing"),
        (no_corpus, "corpus_fingerprint: must be a SHA-256"),
        (no_seed, "seed: must be a whole number"),
    ],
)
def test_what_cannot_be_right_is_refused_even_when_it_is_sealed(many, tmp_path, change, said):
    tree = many.tree.copy(deep=True)
    change(tree)
    write_learned(tree, tmp_path / "wrong.nc", Health(1.0, np.inf, 0, ""))
    with pytest.raises(dating.InputError, match=said) as refused:
        read_draws(tmp_path / "wrong.nc", many.maker)
    assert all(problem.file == str(tmp_path / "wrong.nc") for problem in refused.value.problems)


def latent_tree(maker, corpus, change):
    """Free-form shares that are even, with one change to the arrays or attributes."""
    even = np.full((12, 1), 1.0), (np.full((2, 12, 1), 0.5),)
    fits = tuple(Mixture(Settings(), *even) for _ in range(2))
    dataset = Latent(("ends",), fits, Cells.even(12, 1), 0.1, 0.1).dataset()
    change(dataset)
    tree = tree_with(maker, {}, corpus.fingerprint)
    tree["latent"] = xr.DataTree(dataset)
    return tree


def into(name, place, value):
    def change(dataset):
        if isinstance(place, str):
            dataset[name].attrs[place] = value
        else:
            dataset[name].values[place] = value

    return change


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda dataset: None, ""),
        (into("weight", (0, 3, 0), 0.5), "latent/weight: the shares of the latent variants"),
        (into("shares 0", (0, 0, 3, 0), 0.9), "shares of the states must sum to one"),
        (into("shares 0", (0, 0, 3, 0), np.nan), "numbers are missing or infinite"),
        (into("shares 0", "feature", "end"), "latent: has other features than the maker file"),
        (into("variants", 0, 3), "latent/variants: cannot be"),
        (into("edge", 12, 13), "latent: has another period"),
        (into("edge", 3, 2), "latent: has another period"),
        (lambda dataset: dataset.attrs.pop("gain"), "gain and error must be"),
    ],
)
def test_free_form_shares_are_held_against_the_maker_file(tmp_path, change, said):
    maker, corpus = written(tmp_path, FREE, [("a", "1930-05", 1, "wood")])
    write_learned(latent_tree(maker, corpus, change), tmp_path / "latent.nc")
    if not said:
        assert read_draws(tmp_path / "latent.nc", maker).latent.features == ("ends",)
        return
    with pytest.raises(dating.InputError, match=said):
        read_draws(tmp_path / "latent.nc", maker)


def test_a_corrected_copy_is_sealed_and_keeps_what_is_told_of_the_draws(small, tmp_path):
    write_learned(small.tree, tmp_path / "bad.nc", BAD)
    arguments = (small.folder / "example.yaml", small.folder / "corpus.csv")
    copy = tmp_path / "copy.nc"
    shown = run("calibrate", *arguments, "--learned", tmp_path / "bad.nc", "--correct", copy)
    assert shown.exit_code == 0, shown.output
    learned = read_draws(copy, small.maker)
    assert learned.correction is not None
    assert learned.health == BAD
    assert "levels" in read_learned(copy)
    content = copy.read_bytes()
    copy.write_bytes(content[:5000] + bytes([content[5000] ^ 1]) + content[5001:])
    with pytest.raises(dating.InputError, match="damaged"):
        read_draws(copy, small.maker)


# Unsound draws -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def unsound(small, tmp_path_factory):
    """The same draws, said not to be sound; and the sentence."""
    path = tmp_path_factory.mktemp("unsound") / "bad.nc"
    write_learned(small.tree, path, BAD)
    learned = read_draws(path, small.maker)
    (sentence,) = on_soundness(learned)
    made = dating.estimate(small.maker, small.seen, learned=learned)
    return SimpleNamespace(path=path, learned=learned, sentence=sentence, made=made)


def test_sound_draws_are_not_doubted(small):
    assert on_soundness(read_draws(small.path, small.maker)) == []


def test_the_sentence_names_what_is_wrong(unsound):
    assert unsound.learned.unsound == (
        "3 divergent transitions; R-hat 1.200 (at most 1.01 wanted) and effective sample size 30 "
        "(at least 400 wanted), worst for ends, regime 2, first use"
    )
    assert unsound.learned.unsound in unsound.sentence


@pytest.mark.parametrize("form", ["text", "json", "yaml"])
def test_estimates_say_that_draws_are_unsound(small, unsound, form):
    files = ("--maker", small.folder / "example.yaml", "--as", form)
    said = run("estimate", small.folder / "x.yaml", *files, "--learned", unsound.path).output
    sound = run("estimate", small.folder / "x.yaml", *files, "--learned", small.path).output
    if form == "text":
        assert unsound.sentence in " ".join(said.split())
        assert "Not to be relied on" not in sound
    else:
        read = json.loads if form == "json" else yaml.safe_load
        assert read(said)["draws"]["sentence"] == unsound.sentence
        assert (read(said)["draws"]["sound"], read(sound)["draws"]["sound"]) == (False, True)


def test_the_picture_says_so_within_its_frame(unsound):
    figure = draw_estimate(unsound.made)
    assert unsound.sentence in figure.get_label()
    FigureCanvasAgg(figure).draw()
    lowest = figure.axes[-1]
    assert unsound.sentence in " ".join(lowest.get_xlabel().split())
    inside, frame = lowest.get_tightbbox(), figure.bbox
    assert frame.x0 <= inside.x0 < inside.x1 <= frame.x1
    assert frame.y0 <= inside.y0 < inside.y1 <= frame.y1


@pytest.mark.parametrize(
    ("code", "start"), [("en", "Not to be relied on: "), ("de", "Darauf ist kein Verlass: ")]
)
def test_notes_and_the_index_say_so(unsound, code, start):
    wording, plain = Wording(language(code)), house()
    note, entry = note_of(unsound.made, wording), entry_of(unsound.made, wording, "1", "")
    assert note.date.sentences[0].startswith(start)
    assert "30" in note.date.sentences[0]
    flag = wording.language.texts["sale.flags.unsound"]
    assert flag in entry.why
    index = index_of([entry], wording.language)
    assert flag in index_html(index, plain)
    assert flag in index_markdown(index, plain)
    sound = replace(unsound.made, learned=replace(unsound.learned, health=None))
    assert not any(start in sentence for sentence in note_of(sound, wording).date.sentences)
    assert flag not in entry_of(sound, wording, "1", "").why


def test_a_note_of_any_format_says_so(small, unsound, tmp_path):
    files = ("--maker", small.folder / "example.yaml", "--learned", unsound.path)
    forms = [f"--as={form}" for form in ("markdown", "html", "word", "pdf", "linked-art")]
    shown = run("note", small.folder / "x.yaml", *files, *forms, "--out", tmp_path)
    assert shown.exit_code == 0, shown.output
    made = [file for file in tmp_path.iterdir() if file.suffix not in {".svg", ".png"}]
    assert len(made) == len(forms)
    assert all("Not to be relied on" in text_of(file) for file in made)


def text_of(file):
    if file.suffix == ".docx":
        import docx  # noqa: PLC0415

        return "\n".join(paragraph.text for paragraph in docx.Document(file).paragraphs)
    if file.suffix == ".pdf":
        import pypdf  # noqa: PLC0415

        return " ".join(" ".join(p.extract_text() for p in pypdf.PdfReader(file).pages).split())
    return file.read_text(encoding="utf-8")


def test_calibrating_and_weighing_say_so(small, unsound, tmp_path):
    arguments = (small.folder / "example.yaml", small.folder / "corpus.csv")
    shown = run("calibrate", *arguments, "--learned", unsound.path)
    assert " ".join(shown.output.split()).startswith(unsound.sentence)
    record = json.loads(
        run("calibrate", *arguments, "--learned", unsound.path, "--as", "json").output
    )
    assert record["draws"]["sentence"] == unsound.sentence

    claim = "{claim: late, says: {first_use: {feature: ends, state: metal, not_before: 1931-10}}}"
    (tmp_path / "claims.yaml").write_text(f"maker: example\nclaims: [{claim}]\n", "utf-8")
    files = ("--maker", small.folder / "example.yaml", "--learned", unsound.path)
    page = ("--page", tmp_path / "page.html")
    said = run("weigh", tmp_path / "claims.yaml", *files, *page)
    assert " ".join(said.output.split()).startswith(unsound.sentence)
    assert unsound.sentence in (tmp_path / "page.html").read_text("utf-8")
    record = json.loads(run("weigh", tmp_path / "claims.yaml", *files, "--as", "json").output)
    assert record["learned_draws"]["sentence"] == unsound.sentence
