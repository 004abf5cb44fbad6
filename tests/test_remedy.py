"""What would help: a correction with its command and its gain, and what pulls dates to one side."""

import json
import shlex
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from dating.batch import posteriors
from dating.calibration.cross_validation import dated_without
from dating.calibration.level_correction import correction_of
from dating.calibration.pulls import _changes, pulls_of
from dating.calibration.remedy import remedy_of
from dating.calibration.scores import scores_of
from dating.calibration.verdict import compared
from dating.cli.calibrate import commands_for
from dating.cli.main import main
from dating.files import read_maker
from dating.learning.corpus import read_corpus
from dating.learning.files import read_draws, write_learned
from dating.learning.learned import learned_from
from dating.standard_input import StandardInput
from dating.words.calibration import calibration_text
from tests.calibrating import (
    MONTHS,
    SIX_RAMPS,
    bumps,
    dated_as,
    drawn_months,
    month_text,
    one_ramp_learned,
    sharpened,
    six_ramps,
)
from tests.learning import ONE_RAMP, tree_with, written


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def words(made, remedy, *commands):
    return " ".join(calibration_text(made, 80, remedy, commands).split())


@pytest.fixture(scope="module")
def corpus(tmp_path_factory):
    _, made = six_ramps(tmp_path_factory.mktemp("drawn"), 12, 1)
    return made


# A correction of levels --------------------------------------------------------------------------


def test_what_a_correction_gains_is_what_new_instruments_gain(corpus):
    truth, again = bumps(150), bumps(1500, seed=2)
    dated = dated_as(corpus, sharpened(truth, 3.0), drawn_months(truth))
    made = compared(corpus, None, dated)
    remedy = remedy_of(made)
    corrected = remedy.corrected
    assert remedy.pulls is None
    assert corrected.helps
    window, stated = np.eye(60)[drawn_months(again, seed=102)], sharpened(again, 3.0)
    before, after = (
        scores_of(posterior, window).log_score
        for posterior in (stated, corrected.correction.apply(stated))
    )
    assert corrected.gain == pytest.approx((after - before).mean(), abs=3 * corrected.error)
    assert corrected.gain > 3 * corrected.error
    held, text = corrected.correction.at(0.9), words(made, remedy, "dating calibrate A B")
    assert f"a stated 90 % would become {100 * held:.1f} %" in text
    assert f"would gain in mean log score ({corrected.gain:+.3f}, standard error" in text
    assert "To write it: dating calibrate A B HOW OFTEN" in text
    assert "To write it" not in words(made, remedy)


def test_where_probabilities_may_be_trusted_nothing_is_offered(corpus):
    posterior = bumps(100)
    made = compared(corpus, None, dated_as(corpus, posterior, drawn_months(posterior)))
    assert remedy_of(made) is None
    assert not correction_of(made).helps
    assert "WHAT WOULD HELP" not in calibration_text(made)


# What pulls to one side --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pulled(tmp_path_factory):
    """Instruments of six ramps, dated with two of them stated a year too early."""
    folder = tmp_path_factory.mktemp("pulled")
    six_ramps(folder, 200, 5)
    text = SIX_RAMPS.replace("first_use: 1931-09,", "first_use: 1930-11,")
    text = text.replace("first_use: 1933-01,", "first_use: 1932-01,")
    assert text.count("1930-11") == text.count("first_use: 1932-01") == 1
    (folder / "example.yaml").write_text(text, encoding="utf-8")
    maker = read_maker(folder / "example.yaml")
    corpus = read_corpus(folder / "corpus.csv", maker)
    made = compared(corpus, None, dated_without(corpus, None))
    return made, remedy_of(made)


def test_the_features_that_pull_are_named_with_their_months(pulled):
    made, remedy = pulled
    assert {pull.name for pull in remedy.pulls} == {"f2", "f4"}
    spans = {pull.name: (pull.first, pull.last) for pull in remedy.pulls}
    assert 6 <= spans["f2"][0] <= spans["f2"][1] <= 30
    assert 20 <= spans["f4"][0] <= spans["f4"][1] <= 46
    text = words(made, remedy)
    assert "its changeovers may be dated too early; without it the mean rank would be 0." in text
    assert "The strongest pulls to the earlier side" in text


def test_ranks_without_a_feature_are_those_of_instruments_on_which_it_was_not_seen(pulled):
    """Dated anew, with the sighting taken away."""
    made, remedy = pulled
    corpus, pull = made.corpus, remedy.pulls[0]
    months = np.array([reference.month for reference in corpus.references])
    seen = [reference.examination for reference in corpus.references]
    less = [
        each.model_copy(update={"seen": {n: s for n, s in each.seen.items() if n != pull.name}})
        for each in seen
    ]
    ranks = []
    for examinations in (seen, less):
        stated = posteriors(corpus.maker, examinations).values
        middles = np.cumsum(stated, axis=1) - stated / 2
        ranks.append(middles[np.arange(len(months)), months])
    before, after = ranks
    sides = made.uniformity.sides.value
    assert pull.mean_rank - sides == pytest.approx((after - before).mean(), abs=1e-9)
    assert pull.instruments == sum(pull.name in each.seen for each in seen)
    assert abs(pull.mean_rank - 0.5) < abs(sides - 0.5)


def test_nothing_pulls_where_all_is_as_stated(tmp_path):
    _, corpus = six_ramps(tmp_path, 300, 5)
    dated = dated_without(corpus, None)
    assert pulls_of(corpus, None, dated, 0.52) == ()
    assert pulls_of(corpus, None, dated, 0.48) == ()


def test_without_its_one_feature_an_instrument_is_dated_by_the_output_alone(tmp_path):
    """Draws weighed for leaving it out change nothing where nothing depends on them."""
    ramp = one_ramp_learned(tmp_path, count=40, draws=512)
    corpus = ramp.corpus
    learned = learned_from(ramp.tree, most=512)
    dated = dated_without(corpus, learned)
    even = (np.arange(MONTHS) + 0.5) / MONTHS
    wanted = np.array([even @ r.window / r.window.sum() for r in corpus.references])
    middles = np.cumsum(dated.posterior, axis=1) - dated.posterior / 2
    found = [
        (p @ np.diag(m) @ r.window) / (p @ r.window)
        for p, m, r in zip(dated.posterior, middles, corpus.references, strict=True)
    ]
    changes, kinds = _changes(corpus, learned, dated)
    assert kinds == {"ends": "feature"}
    assert changes["ends"] == pytest.approx(wanted - np.array(found), abs=1e-9)
    assert np.ptp(changes["ends"]) > 0.1


# The command -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def doubtful(tmp_path_factory):
    """What was learned has few slips, and three sightings of ten are wrong: sets hold too few."""
    folder = tmp_path_factory.mktemp("doubtful folder")
    generator = np.random.default_rng(2)
    months = generator.integers(MONTHS, size=40).tolist()
    rows = [
        (f"C-{n}", month_text(m), 1, "metal" if (m > 22) != (generator.random() < 0.3) else "wood")
        for n, m in enumerate(months)
    ]
    maker, corpus = written(folder, ONE_RAMP.replace("slip: 0", "slip: 0.02"), rows)
    values = np.stack([generator.normal(20, 1, 512), generator.normal(6, 0.5, 512)], axis=1)
    drawn = {"value": values[None], "slip": np.full((1, 512, 1), 0.02)}
    write_learned(tree_with(maker, drawn, corpus.fingerprint), folder / "learned.nc")
    return folder


def test_the_command_that_is_offered_writes_the_correction(doubtful, monkeypatch):
    monkeypatch.chdir(doubtful)
    files = ("example.yaml", "corpus.csv", "--learned", "learned.nc")
    shown = run("calibrate", *files, "--as", "json")
    record = json.loads(shown.output)["remedy"]["correction"]
    (offered,) = record["commands"]
    assert offered.endswith("--learned learned.nc --correct learned-corrected.nc")
    assert f"\n    {offered}\n" in run("calibrate", *files).output
    dating, *arguments = shlex.split(offered)
    assert dating == "dating"
    written_ = run(*arguments)
    assert written_.exit_code == 0
    assert "To write it" not in written_.output
    corrected = read_draws("learned-corrected.nc", read_maker("example.yaml")).correction
    assert corrected.at(0.9) == pytest.approx(record["held"]["0.9"], abs=1e-9)
    assert f"would become {100 * corrected.at(0.9):.1f} %" in " ".join(written_.output.split())


def test_judgements_alone_are_learned_from_first(tmp_path, monkeypatch):
    """Under names that no file bears; what came by standard input is named as its kind."""
    monkeypatch.chdir(tmp_path)
    maker, corpus = Path("my makers/example.yaml"), StandardInput()
    first, then = (shlex.split(command) for command in commands_for(maker, corpus, None))
    names = ["my makers/example.yaml", "CORPUS.csv"]
    assert first == ["dating", "learn", *names, "--out", "example.nc"]
    learned = ["--learned", "example.nc", "--correct", "example-corrected.nc"]
    assert then == ["dating", "calibrate", *names, *learned]
    for name in ("example.nc", "example-corrected.nc", "example-corrected-2.nc"):
        Path(name).touch()
    (again,) = commands_for(maker, corpus, Path("example.nc"))
    assert again.endswith("--learned example.nc --correct example-corrected-3.nc")
    assert " --out example-2.nc" in commands_for(maker, corpus, None)[0]
