"""Undated instruments in a corpus teach shares and what goes together, and nothing of when."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from dating import InputError, read_corpus, read_maker
from dating.calibration.cross_validation import Omissions, dated_without
from dating.cli.main import main
from dating.learning.contradictions import contradictions_of
from dating.learning.coordinates import coordinates_of
from dating.learning.drafting import draft
from dating.learning.latent.rows import rows_of
from dating.learning.prior import prior_draws
from dating.learning.sampling import plan_of
from dating.learning.thresholds import observed_of
from dating.plausibility.corpus import corpus_warnings
from dating.words.learned import before_learning
from tests.learning import ONE_RAMP, one_ramp_rows, written

SHARES = ONE_RAMP.replace(
    "        history:\n          - state: wood\n",
    "        history:\n          - shares: {wood: 0.5, bone: 0.5}\n",
).replace("[wood, metal]", "[wood, bone, metal]")
FREE = ONE_RAMP.split("        history:")[0].replace("slip: 0", "free_form: true")
OLD = [(f"U-{k}", "", "", "wood" if k % 10 else "bone") for k in range(100)]
WOOD = [row for row in OLD if row[-1] == "wood"]
DATED = [(f"D-{k}", f"193{k // 8}-{1 + k % 8:02d}", 1, "metal") for k in range(24, 40)]


def test_a_blank_date_allows_every_month(tmp_path):
    _, corpus = written(tmp_path, ONE_RAMP, [*DATED, *OLD[1:3]])
    undated = corpus.references[-1]
    assert (undated.dated, undated.stated, undated.open_ended) == (False, "undated", True)
    assert undated.window.all()
    assert undated.month is None
    assert corpus.undated == 2
    assert repr(undated) == "Reference(U-2, line 19, undated)"
    output = np.arange(1.0, 61.0) / np.arange(1.0, 61.0).sum()
    np.testing.assert_allclose(undated.months_given(output), output, rtol=1e-14)
    assert np.ptp(undated.likelihood(output)) == pytest.approx(0, abs=1e-15)


def test_a_corpus_without_any_date_is_refused(tmp_path):
    with pytest.raises(InputError, match="no row states a date") as refusal:
        written(tmp_path, ONE_RAMP, OLD[1:5])
    assert [(p.line, p.key) for p in refusal.value.problems] == [(1, "built")]


def share_of_wood(folder, rows):
    density = plan_of(*written(folder, SHARES, rows)).density
    mode = coordinates_of(density).centre
    return float(density.quantities(mode[None, None])["share"][0, 0, 0, 0, 0])


def test_undated_instruments_teach_shares(tmp_path):
    """Ninety of a hundred undated ones are of wood; bone and wood are judged to be alike."""
    assert share_of_wood(tmp_path, DATED) == pytest.approx(0.5, abs=1e-3)
    assert 0.85 < share_of_wood(tmp_path, [*DATED, *OLD]) < 0.92


def test_the_likelihood_of_an_undated_instrument_is_summed_over_the_output(tmp_path):
    dated = [(f"M-{k}", f"{1930 + k // 12}-{1 + k % 12:02d}", 1, "metal") for k in range(60)]
    density = lambda rows: plan_of(*written(tmp_path, ONE_RAMP, rows)).density  # noqa: E731
    x = np.array([0.3, -0.4])
    likelihood = lambda d: d(x)[0] - d.log_prior(x)  # noqa: E731
    each = [likelihood(density([*DATED, row])) - likelihood(density(DATED)) for row in dated]
    undated = likelihood(density([*DATED, ("U", "", "", "metal")])) - likelihood(density(DATED))
    assert undated == pytest.approx(np.log(np.exp(each).mean()), rel=1e-9)


def test_of_when_they_say_nothing(tmp_path):
    rows = one_ramp_rows(60)
    maker, without = written(tmp_path, ONE_RAMP, rows)
    _, corpus = written(tmp_path, ONE_RAMP, [*rows, *OLD[1:4], ("U", "", "", "metal")])
    flat = np.full(60, 1 / 60)
    layout = plan_of(maker, corpus).layout
    (with_them,), (alone,) = (observed_of(c, layout, flat) for c in (corpus, without))
    np.testing.assert_array_equal(with_them.curve, alone.curve)
    prior = prior_draws(maker).thinned(64)
    found = contradictions_of(maker, corpus, layout, prior, most=1.0)
    assert not {item.instrument for item in found} & {"U", "U-1", "U-2", "U-3"}
    assert found
    assert dated_without(corpus, None).passed_over == Omissions(0, 0, 0, undated=4)


def test_free_form_rows_of_undated_instruments_have_every_cell(tmp_path):
    maker, corpus = written(tmp_path, FREE, [*DATED, *OLD[1:3]])
    rows = rows_of(corpus.references, maker, np.full(60, 1 / 60))
    for place in (len(DATED), len(DATED) + 1):
        own = rows.pair_row == place
        assert rows.pair_cell[own].tolist() == list(range(len(rows.axis)))
        assert np.ptp(rows.pair_stated[own]) == pytest.approx(0, abs=1e-15)


def test_they_are_counted_wherever_instruments_are(tmp_path):
    _, corpus = written(tmp_path, ONE_RAMP, [*DATED, *OLD[1:4]])
    maker = read_maker(tmp_path / "example.yaml")
    said = " ".join(before_learning(plan_of(maker, corpus), None).split())
    assert "summed over their possible months, 3 of them undated" in said
    text = (tmp_path / "corpus.csv").read_text()
    (tmp_path / "corpus.csv").write_text(f"# maker: example\n{text}")
    run = lambda *words: CliRunner().invoke(main, list(map(str, words)))  # noqa: E731
    answer = run("check", tmp_path / "corpus.csv")
    assert answer.exit_code == 0
    assert "undated: 3" in answer.output
    answer = run("draft", tmp_path / "corpus.csv", "--out", tmp_path / "a.yaml", "--name", "A")
    assert "16 dated instruments and 3 undated ones" in " ".join(answer.output.split())


def test_a_draft_rests_on_the_dated_ones(tmp_path):
    head = "instrument,built,ends"
    rows = [[name, built, ends] for name, built, _, ends in [*DATED, *OLD[:30]]]
    texts = [drafted_from(tmp_path, head, part) for part in (rows[: len(DATED)], rows)]
    assert texts[1].replace("- wood\n", "").count("made:") == texts[0].count("made:")
    assert "- during: 1933-01/" in texts[1]
    assert "/1934-08\n" in texts[1]
    assert "wood" in texts[1]
    assert "wood" not in texts[0]


def drafted_from(folder, head, rows):
    lines = [head, *(",".join(map(str, row)) for row in rows)]
    (folder / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return draft(folder / "table.csv", "Example")


def test_a_corpus_that_is_mostly_undated_gets_a_warning(tmp_path):
    _, half = written(tmp_path, ONE_RAMP, [*DATED, *WOOD[: len(DATED)]])
    assert "undated" not in " ".join(map(str, corpus_warnings(half)))
    _, more = written(tmp_path, ONE_RAMP, [*DATED, *WOOD[: len(DATED) + 1]])
    (warned,) = [w for w in corpus_warnings(more) if "are undated" in str(w)]
    assert "17 of 33 instruments" in warned.message


def test_a_trust_without_a_date_gets_a_warning(tmp_path):
    _, corpus = written(tmp_path, ONE_RAMP, [*DATED, ("U", "", 0.5, "wood")])
    (warned,) = [w for w in corpus_warnings(corpus) if w.key == "trust"]
    assert warned.line == 18
    assert "no date is stated" in warned.message


def test_a_corpus_of_the_demo_may_have_undated_rows(tmp_path):
    file = Path("demo_data/marrowby_corpus.csv")
    text, corpus = file.read_text(encoding="utf-8"), read_corpus(file)
    name, built = corpus.references[0].examination.instrument, corpus.references[0].built.text
    (tmp_path / "c.csv").write_text(text.replace(f"{name},{built},", f"{name},,", 1), "utf-8")
    assert read_corpus(tmp_path / "c.csv", corpus.maker).undated == 1
