"""The interface from Python: each name does what the command of its name does, to the last bit."""

import json
import subprocess
import sys
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
import yaml
from click.testing import CliRunner

import dating
from dating import libraries
from dating.cli.main import main
from dating.learning.files import SET_ASIDE, write_learned
from tests.learning import ONE_RAMP, one_ramp_rows, written

MAKER, CORPUS = "priors/marrowby.yaml", "demo_data/marrowby_corpus.csv"
CLAIMS = "demo_data/marrowby_claims.yaml"
M_003, M_005 = (f"demo_data/examinations/M-00{n}.yaml" for n in (3, 5))
SEEN = "instrument: X\nmaker: example\nseen: {ends: metal}\n"
A_CLAIM = """\
maker: example
claims:
  - claim: metal-late
    sentence: No metal ends before 1932.
    says: {first_use: {feature: ends, state: metal, not_before: 1932-01}}
"""


def run(*arguments):
    shown = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert shown.exit_code == 0, shown.output
    return shown.stdout


def months_of(labels):
    return np.array(labels, dtype="datetime64[M]")


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker(MAKER)


@pytest.fixture(scope="module", params=["M-001", "M-003", "M-005", "M-010"])
def estimate(request, maker):
    path = f"demo_data/examinations/{request.param}.yaml"
    return dating.estimate(maker, dating.read_examination(path))


@pytest.fixture(scope="module")
def two_parts(maker):
    """An instrument whose neck comes from elsewhere."""
    return dating.estimate(maker, dating.read_examination(M_003))


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    """A small maker and corpus, what the command learns from it, and what the interface does."""
    folder = tmp_path_factory.mktemp("world")
    maker, corpus = written(folder, ONE_RAMP, one_ramp_rows(60))
    (folder / "x.yaml").write_text(SEEN, "utf-8")
    (folder / "claims.yaml").write_text(A_CLAIM, "utf-8")
    file = folder / "command.nc"
    run("learn", folder / "example.yaml", folder / "corpus.csv", "--out", file, "--seed", 4)
    tree = dating.learn(maker, corpus, seed=4)
    return SimpleNamespace(folder=folder, maker=maker, corpus=corpus, file=file, tree=tree)


@pytest.fixture(scope="module")
def unsound(world):
    """Twenty draws, which are too few."""
    return dating.learn(world.maker, world.corpus, draws=20, seed=4)


# What there is -------------------------------------------------------------------------------


def test_every_name_is_listed_and_is_there():
    wanted = {
        *("read_maker", "read_examination", "read_corpus", "read_claims", "read_learned"),
        *("draft", "learn", "estimate", "estimate_many", "posteriors"),
        *("weigh", "calibrate", "write_note"),
    }
    assert wanted <= set(dating.__all__)
    assert set(dating.__all__) <= set(dir(dating))
    for name in dating.__all__:
        assert getattr(dating, name).__name__ == name


def test_naming_the_interface_loads_nothing_heavy():
    code = (
        "import sys, dating\n"
        "for name in dating.__all__: getattr(dating, name)\n"
        "made = dating.estimate(dating.read_maker('priors/marrowby.yaml'), "
        f"dating.read_examination('{M_003}'))\n"
        "made._repr_html_()\n"
        "heavy = {'pymc', 'arviz', 'matplotlib', 'scipy', 'pandas', 'xarray'} & set(sys.modules)\n"
        "print(sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# An estimate as a tree -----------------------------------------------------------------------


def test_probabilities_of_the_tree_are_those_of_the_estimate(estimate):
    tree = estimate.to_datatree()
    posterior, summaries = tree["posterior"], tree["summaries"]
    assert posterior["probability"].dims == ("month",)
    assert np.array_equal(posterior["probability"].values, estimate.probabilities)
    assert np.array_equal(posterior["standard_error"].values, estimate.errors)
    assert np.array_equal(summaries["year_probability"].values, estimate.years().values)
    assert float(summaries["entropy"]) == estimate.entropy
    assert float(summaries["all_original"]) == estimate.all_original
    originality = tree["originality"]["original"].to_series().to_dict()
    assert originality == estimate.originality
    own = tree["originality"]["own_month"]
    assert np.array_equal(own.values, estimate.component_months.values)
    variants = tree["variant"]["probability"].to_series().to_dict()
    assert variants == estimate.variant_chances


def test_months_of_the_tree_are_first_days(estimate):
    tree = estimate.to_datatree()
    for group in ("posterior", "summaries", "findings", "originality"):
        month = tree[group]["month"]
        assert month.dtype == "datetime64[s]"
        assert np.array_equal(month.values, estimate.posterior["month"].values)
        assert set(month.dt.day.values) == {1}
    for name in ("median", "mode"):
        told = tree["summaries"][name].values.astype("datetime64[M]")
        assert told.astype(int) + 1970 * 12 == getattr(estimate, name)


def test_sets_of_the_tree_are_those_of_the_estimate(estimate):
    summaries = estimate.to_datatree()["summaries"].to_dataset()
    assert summaries["level"].values.tolist() == [0.5, 0.9]
    for level in (0.5, 0.9):
        told, wanted = summaries.sel(level=level), estimate.highest_density(level)
        assert (str(told["edtf"].values), int(told["stretches"])) == (
            wanted.edtf,
            len(wanted.stretches),
        )
        assert float(told["mass"]) == wanted.mass
        assert int(told["inside"].sum()) == wanted.months
        ends = months_of([str(wanted).split(" ")[0], str(wanted).split(" ")[-1]])
        assert told["first"].values == ends[0]
        assert told["last"].values == ends[1]
        assert told["month"].values[told["inside"].values][0] == ends[0]


def test_findings_and_looks_of_the_tree_are_those_of_the_estimate(two_parts):
    tree = two_parts.to_datatree()
    findings, advice = tree["findings"].to_dataset(), tree["advice"].to_dataset()
    assert len(two_parts.findings) > 5
    assert findings["observation"].values.tolist() == [f.piece.name for f in two_parts.findings]
    for place, finding in enumerate(two_parts.findings):
        told = findings.isel(observation=place)
        assert str(told["seen"].values) == finding.piece.observation
        assert str(told["component"].values) == (finding.piece.component or "")
        assert (int(told["shift"]), float(told["weight"])) == (finding.shift, finding.weight)
        assert float(told["surprise"]) == finding.surprise
        assert str(told["alone_edtf"].values) == finding.alone.edtf
        assert str(told["without_edtf"].values) == finding.without.edtf
        assert bool(np.isnan(told["replaced"])) == (finding.replaced is None)
        likelihood = two_parts.likelihood_alone(finding.piece.name)
        assert np.array_equal(told["likelihood"].values, likelihood)
    assert advice["look"].values.tolist() == [look.name for look in two_parts.advice]
    assert advice["gain"].values.tolist() == [look.bits for look in two_parts.advice]


def test_the_tree_goes_through_netcdf_unchanged(estimate, tmp_path):
    tree = estimate.to_datatree()
    tree.to_netcdf(tmp_path / "x.nc", engine="h5netcdf")
    with xr.open_datatree(tmp_path / "x.nc", engine="h5netcdf") as read:
        xr.testing.assert_identical(read.load(), tree)


def test_the_tree_of_an_instrument_that_nobody_examined_goes_through_netcdf(maker, tmp_path):
    blank = dating.Examination.model_validate({"instrument": "a/b", "maker": "marrowby"})
    tree = dating.estimate(maker, blank).to_datatree()
    assert tree["findings"].sizes["observation"] == 0
    tree.to_netcdf(tmp_path / "x.nc", engine="h5netcdf")
    with xr.open_datatree(tmp_path / "x.nc", engine="h5netcdf") as read:
        assert read.attrs["instrument"] == "a/b"
        assert np.array_equal(read["posterior"]["probability"], tree["posterior"]["probability"])


def test_every_array_of_the_tree_says_what_it_is_and_its_unit(estimate):
    tree = estimate.to_datatree()
    count = 0
    for group in tree.children.values():
        for name, array in group.to_dataset().variables.items():
            assert array.attrs["description"], name
            assert all(isinstance(dim, str) and not dim.startswith("dim_") for dim in array.dims)
            assert (array.dtype.kind == "f") <= bool(array.attrs.get("units")), name
            count += 1
    assert count > 40
    assert "not a certificate" in tree.attrs["opinion"]
    assert tree.attrs["maker_fingerprint"] == estimate.maker.origin.fingerprint


# An estimate to look at ----------------------------------------------------------------------


class Elements(HTMLParser):
    """The elements and the text of a page."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text, self.open = [], "", []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += f" {data}"


def test_html_gives_the_date_in_words_its_probability_and_that_it_is_an_opinion(two_parts):
    page = Elements(two_parts._repr_html_())
    statement = run("note", M_003).split("\n\n")
    (built,) = {words for words in statement if words.lstrip("* ").startswith("Built between")}
    assert built.strip("* \n").split(" (")[0] in page.text
    assert "(very likely, 91 %)" in page.text
    assert "January 1930" in page.text
    assert "An opinion with a probability, not a certificate" in page.text
    assert "The neck probably did not belong to this instrument originally" in page.text
    assert not page.open
    assert "table" in page.tags


def test_html_shows_markup_in_names_as_text(maker):
    name = "<script>alert(1)</script> \"&' \x1b[31m"
    seen = dating.Examination.model_validate({"instrument": name, "maker": "marrowby"})
    strange = maker.model_copy(update={"maker": "<b>Works</b>", "product": "<i>harps</i>"})
    html = dating.estimate(strange, seen)._repr_html_()
    page = Elements(html)
    assert not {"script", "em"} & set(page.tags)
    assert page.tags.count("b") == 1
    assert page.tags.count("i") == 1
    assert "<script>alert(1)</script>" in page.text
    assert "<b>Works</b>" in page.text
    assert "<i>harps</i>" in page.text
    assert "\x1b" not in html


def test_html_says_first_that_a_draft_is_not_to_be_relied_on(maker):
    seen = dating.Examination.model_validate({"instrument": "X", "maker": "marrowby"})
    made = dating.estimate(maker.model_copy(update={"draft": True}), seen)
    text = Elements(made._repr_html_()).text
    assert text.index("Not to be relied on") < text.index("Built")
    assert "Not to be relied on" in made.to_datatree().attrs["grounds"]


def test_the_picture_is_that_of_the_command(two_parts, tmp_path):
    from dating.figures.files import save_picture  # noqa: PLC0415

    save_picture(two_parts.plot(), tmp_path / "own.svg")
    run("estimate", M_003, "--picture", tmp_path / "command.svg")
    assert (tmp_path / "own.svg").read_bytes() == (tmp_path / "command.svg").read_bytes()


# Drafts --------------------------------------------------------------------------------------


def test_a_draft_is_that_of_the_command(tmp_path):
    run("draft", CORPUS, "--name", "First", "--out", tmp_path / "first.yaml")
    text = dating.draft(CORPUS, "First")
    assert text == (tmp_path / "first.yaml").read_text("utf-8")
    assert yaml.safe_load(text)["draft"] is True


def test_a_draft_of_what_is_no_table_of_instruments_is_refused(tmp_path):
    (tmp_path / "t.csv").write_text("name,year\nA,1931\n", "utf-8")
    with pytest.raises(dating.InputError, match="built: this column is missing"):
        dating.draft(tmp_path / "t.csv", "First")


# Learning ------------------------------------------------------------------------------------


def test_learning_gives_what_the_command_writes(world, tmp_path):
    read = dating.read_learned(world.file)
    assert SET_ASIDE not in world.tree.attrs
    assert set(world.tree.children) == set(read.children)
    for name, group in world.tree.children.items():
        xr.testing.assert_equal(group.to_dataset(), read[name].to_dataset())
    apart = {name for name in read.attrs if read.attrs[name] != world.tree.attrs.get(name)}
    assert not apart
    write_learned(world.tree, tmp_path / "again.nc")
    xr.testing.assert_equal(dating.read_learned(tmp_path / "again.nc"), read)


def test_dates_from_a_tree_are_those_of_the_command(world):
    file = world.folder / "x.yaml"
    said = json.loads(run("estimate", file, "--learned", world.file, "--as", "json"))
    command = [month["probability"] for month in said["built"]["by_month"]]
    seen = dating.read_examination(file)
    judged = dating.estimate(world.maker, seen)
    for tree in (world.tree, dating.read_learned(world.file)):
        made = dating.estimate(world.maker, seen, learned=tree)
        assert made.probabilities.tolist() == command
        assert made.probabilities.tolist() != judged.probabilities.tolist()
    (row,) = dating.estimate_many(world.maker, [seen], learned=world.tree).to_dict("records")
    assert row["first"] == np.datetime64(made.to_datatree()["summaries"]["first"].values[1])
    many = dating.posteriors(world.maker, [seen], world.tree)
    assert np.abs(many.values[0] - made.probabilities).max() < 0.01
    assert many["month"].dtype == "datetime64[s]"


def test_a_tree_is_taken_apart_once_and_again_when_it_has_changed(world):
    seen = dating.read_examination(world.folder / "x.yaml")
    tree = dating.read_learned(world.file)
    one, two = (dating.estimate(world.maker, seen, learned=tree) for _ in range(2))
    assert one.learned is two.learned
    tree.attrs[SET_ASIDE] = 1
    with pytest.raises(dating.InputError, match="no date rests on them"):
        dating.estimate(world.maker, seen, learned=tree)


def test_no_date_rests_on_unsound_draws(world, unsound):
    seen = dating.read_examination(world.folder / "x.yaml")
    claims = dating.read_claims(world.folder / "claims.yaml")
    for use in (
        lambda: dating.estimate(world.maker, seen, learned=unsound),
        lambda: dating.estimate_many(world.maker, [seen], learned=unsound),
        lambda: dating.posteriors(world.maker, [seen], unsound),
        lambda: dating.weigh(claims, world.maker, learned=unsound),
        lambda: dating.calibrate(world.corpus, unsound),
    ):
        with pytest.raises(dating.InputError, match=r"not sound yet .* dating\.learn and before"):
            use()


def test_unsound_draws_are_gone_on_with_or_insisted_on(world, unsound):
    more = dating.learn(world.maker, world.corpus, before=unsound)
    assert (more.attrs["runs"], more.attrs["seed"]) == (2, 4)
    assert SET_ASIDE not in more.attrs
    with pytest.raises(dating.InputError, match="taken with another seed"):
        dating.learn(world.maker, world.corpus, before=unsound, seed=5)
    forced = dating.learn(world.maker, world.corpus, draws=20, seed=4, insist=True)
    seen = dating.read_examination(world.folder / "x.yaml")
    made = dating.estimate(world.maker, seen, learned=forced)
    assert "draws that are not sound" in made._repr_html_()


def test_learning_refuses_what_it_cannot_use(world, maker):
    with pytest.raises(dating.InputError, match="read against another maker file"):
        dating.learn(maker, world.corpus)
    with pytest.raises(ValueError, match="at least 10 draws"):
        dating.learn(world.maker, world.corpus, draws=9)
    with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999; found 1"):
        dating.learn(world.maker, world.corpus, accept=1.0)


def test_something_else_than_what_was_learned_is_refused_in_words(world):
    seen = dating.read_examination(world.folder / "x.yaml")
    for wrong in ("learned.nc", xr.Dataset(), 3):
        with pytest.raises(TypeError, match=f"give it; found {type(wrong).__name__}"):
            dating.estimate(world.maker, seen, learned=wrong)


def test_what_was_learned_of_another_maker_is_refused(world, maker):
    with pytest.raises(dating.InputError, match=r"^what was learned: "):
        dating.estimate(maker, dating.read_examination(M_005), learned=world.tree)


# Claims --------------------------------------------------------------------------------------


def chances(results):
    return [(one.claim.claim, one.prior.value, one.posterior.value) for one in results]


def told(record):
    return [
        (c["claim"], c["prior"]["probability"], c["posterior"]["probability"])
        for c in record["claims"]
    ]


@pytest.mark.long
def test_claims_are_weighed_as_by_the_command(maker):
    record = json.loads(
        run("weigh", CLAIMS, "--corpus", CORPUS, "--judgements-only", "--as", "json")
    )
    claims, corpus = dating.read_claims(CLAIMS), dating.read_corpus(CORPUS, maker)
    made = dating.weigh(claims, corpus=corpus)
    assert chances(made) == told(record)
    assert any(one.examples for one in made)
    name, before, after = chances(made)[0]
    assert repr(made[0]) == f"ClaimResult({name}, {before:.2f} before, {after:.2f} after)"


def test_learned_claims_are_weighed_as_by_the_command(world):
    file, maker_file = world.folder / "claims.yaml", world.folder / "example.yaml"
    more = ("--maker", maker_file, "--learned", world.file, "--as", "json")
    record = json.loads(run("weigh", file, *more))
    made = dating.weigh(dating.read_claims(file), learned=world.tree)
    assert chances(made) == told(record)
    assert made[0].factor is not None


def test_claims_whose_maker_file_is_not_there_are_refused(tmp_path):
    (tmp_path / "claims.yaml").write_text(A_CLAIM, "utf-8")
    with pytest.raises(dating.InputError, match=r"no maker file example\.yaml"):
        dating.weigh(dating.read_claims(tmp_path / "claims.yaml"))


# Calibration ---------------------------------------------------------------------------------


def test_calibration_is_that_of_the_command(world):
    files = (world.folder / "example.yaml", world.folder / "corpus.csv")
    for given, more in ((None, ()), (world.tree, ("--learned", world.file))):
        record = json.loads(run("calibrate", *files, *more, "--as", "json"))
        made = dating.calibrate(world.corpus, given)
        levels = {c["level"]: c["held"] for c in record["overall"]["coverage"]}
        assert levels == {c.level: c.share for c in made.groups.overall.coverage}
        assert repr(made).startswith(f"Calibration({made.groups.overall.instruments} instruments, ")


def test_calibration_refuses_what_was_learned_from_another_corpus(world, tmp_path):
    _, other = written(tmp_path, ONE_RAMP, one_ramp_rows(60, seed=2))
    with pytest.raises(dating.InputError, match="learned from another state of the corpus"):
        dating.calibrate(other, world.tree)


# Notes ---------------------------------------------------------------------------------------


def test_a_note_as_text_is_what_the_command_prints(two_parts):
    assert dating.write_note(two_parts).strip() == run("note", M_003).strip()


@pytest.mark.parametrize(
    ("ending", "form"),
    [(".md", "markdown"), (".html", "html"), (".docx", "word"), (".jsonld", "linked-art")],
)
def test_a_note_as_a_file_is_that_of_the_command(two_parts, tmp_path, ending, form):
    run("note", M_003, "--out", tmp_path / "theirs", "--as", form)
    (tmp_path / "own").mkdir()
    made = dating.write_note(two_parts, tmp_path / "own" / f"M-003{ending}")
    assert {file.name for file in made} == {f.name for f in (tmp_path / "theirs").iterdir()}
    for file in made:
        assert file.read_bytes() == (tmp_path / "theirs" / file.name).read_bytes()


def test_a_note_as_pdf_is_one(two_parts, tmp_path):
    (file,) = dating.write_note(two_parts, tmp_path / "n.pdf")
    assert file.read_bytes().startswith(b"%PDF-")


def test_a_note_is_worded_as_asked(two_parts):
    german = dating.write_note(two_parts, language="de", circa=10)
    american = dating.write_note(two_parts, dates="american")
    assert run("note", M_003, "--language", "de", "--circa", 10).strip() == german.strip()
    assert run("note", M_003, "--dates", "american").strip() == american.strip()
    assert len({german, american, dating.write_note(two_parts)}) == 3


def test_a_note_replaces_no_file_unless_asked(two_parts, tmp_path):
    file = tmp_path / "n.md"
    (tmp_path / "n.svg").write_text("mine", "utf-8")
    with pytest.raises(dating.InputError, match=r"n\.svg: there is a file of this name already"):
        dating.write_note(two_parts, file)
    assert not file.exists()
    dating.write_note(two_parts, file, replace=True)
    assert file.exists()
    assert (tmp_path / "n.svg").read_text("utf-8") != "mine"


@pytest.mark.parametrize(
    ("more", "error", "words"),
    [
        ({"path": "n.doc"}, dating.InputError, r"found: +\.doc(?s:.)*nearest: +\.docx"),
        ({"path": "n"}, dating.InputError, "the name of a note's file says its format"),
        ({"path": "none/n.html"}, dating.InputError, "cannot be written"),
        ({"language": "dee"}, dating.InputError, "no such language"),
        ({"dates": "roman"}, ValueError, "british or american; found roman"),
        ({"circa": 7}, ValueError, '"circa" means 5 or 10 years on either side; found 7'),
        ({"templates": "none"}, dating.InputError, "no such folder of templates"),
    ],
)
def test_a_note_that_cannot_be_written_is_refused_in_words(two_parts, more, error, words):
    with pytest.raises(error, match=words):
        dating.write_note(two_parts, **more)


# Libraries -----------------------------------------------------------------------------------


def test_missing_libraries_are_named_with_their_extra(world, two_parts, monkeypatch):
    monkeypatch.setattr(libraries, "missing_of", lambda names: list(names)[:1])
    claims = dating.read_claims(world.folder / "claims.yaml")
    for use, extra in (
        (lambda: dating.learn(world.maker, world.corpus), "learn"),
        (lambda: dating.weigh(claims, world.maker), "learn"),
        (lambda: dating.calibrate(world.corpus), "learn"),
        (two_parts.plot, "picture"),
        (lambda: dating.write_note(two_parts), "note"),
    ):
        with pytest.raises(ModuleNotFoundError, match=rf"install instrument-dating\[{extra}\]"):
            use()
