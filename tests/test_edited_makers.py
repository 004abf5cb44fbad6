"""What was learned stays valid for the parts of a maker file that an edit does not touch."""

import json
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner

import dating
from dating.cli.main import main
from dating.files import read_maker
from dating.learning.edits import Edits, edits_words
from dating.learning.files import read_draws, write_learned
from dating.learning.latent.mixture import Mixture, Settings
from dating.learning.latent.time_cells import Cells
from dating.learning.latent.variants import Latent
from dating.learning.layout import layout_of
from dating.learning.parts import parts_of
from dating.learning.prior import prior_draws
from dating.notes.languages import language
from dating.notes.note import note_of
from dating.notes.sale import entry_of
from dating.notes.sentences import Wording
from dating.words.soundness import on_soundness
from tests.learning import MAKER, ONE_RAMP, tree_with

FIRST_USE = "first_use: {earliest: 1931-01, likely: 1932-01, latest: 1933-06}"
LATER = "first_use: {earliest: 1933-01, likely: 1933-07, latest: 1934-01}"
COUNT = 256


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def arrays_drawn(maker, moved=0.25):
    """Draws that are told from those of the judgements, dates and lengths by a quarter month."""
    drawn = prior_draws(maker, seed=5).thinned(COUNT)
    arrays = {"value": drawn.values + moved, "share": drawn.shares, "mean": drawn.means}
    arrays |= {"spread": drawn.spreads}
    arrays |= {"slip": drawn.slip, "replaced": drawn.replaced}
    return {name: array[None] for name, array in arrays.items()}


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept")
    (folder / "example.yaml").write_text(MAKER, "utf-8")
    maker = read_maker(folder / "example.yaml")
    write_learned(tree_with(maker, arrays_drawn(maker), "0" * 64), folder / "learned.nc")
    learned = read_draws(folder / "learned.nc", maker)
    return SimpleNamespace(folder=folder, maker=maker, path=folder / "learned.nc", learned=learned)


@pytest.fixture
def edited(kept, tmp_path):
    def edited(*changes):
        text = MAKER
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / "example.yaml").write_text(text, "utf-8")
        maker = read_maker(tmp_path / "example.yaml")
        return maker, read_draws(kept.path, maker)

    return edited


def columns(learned):
    return dict(zip(learned.numbers, learned.values.T, strict=True))


SEEN = {"instrument": "X", "maker": "example", "seen": {"ends": "metal", "buckle": "roller"}}


ENDS = MAKER[MAKER.index("      ends:") : MAKER.index("      label:")]
LABEL = MAKER[MAKER.index("      label:") : MAKER.index("    measurements:\n      width")]


# What touches nothing ------------------------------------------------------------------------

TEXTS = {
    "a comment": ("# Invented.\n", "# Invented, and read again.\n"),
    "a question": ("What are the ends made of?", "Of what are the ends?"),
    "a look": ("slip: 0.02", "slip: 0.02\n        look: {how: a lamp, hazards: [celluloid]}"),
    "a note": ("unit: mm\n        spread: 2", "unit: mm\n        note: dry\n        spread: 2"),
    "a source": (
        "period: 1930/1934\n",
        "period: 1930/1934\nsources: {ledger: {title: A ledger}}\n",
    ),
    "who says so": ("latest: 1932-10}", "latest: 1932-10, by: assessor A}"),
    "another order": (ENDS + LABEL, LABEL + ENDS),
    "another way of writing": ("slip: 0.02", "slip: {value: 0.020}"),
}


@pytest.mark.parametrize("change", TEXTS.values(), ids=TEXTS)
def test_words_touch_nothing(kept, edited, change):
    maker, learned = edited(change)
    assert maker.origin.fingerprint != kept.maker.origin.fingerprint
    assert not learned.edits
    assert on_soundness(learned) == []
    old, new = columns(kept.learned), columns(learned)
    assert old.keys() == new.keys()
    assert all(np.array_equal(values, new[name]) for name, values in old.items())
    assert (learned.slip == kept.learned.slip).all() or change[0].startswith("      ends")


def test_a_date_does_not_depend_on_the_order_of_the_features(kept, edited):
    maker, learned = edited(TEXTS["another order"])
    seen = dating.Examination.model_validate(SEEN)
    dates = dating.posteriors(maker, [seen], learned).values
    assert np.allclose(dates, dating.posteriors(kept.maker, [seen], kept.learned).values)


# What is stale -------------------------------------------------------------------------------

STALE = {
    "a first use": ((FIRST_USE, LATER), ("buckle, regime 2",)),
    "an overlap": (("overlap: 3", "overlap: 4"), ("buckle, regime 2",)),
    "a lag": (("lag: 1,", "lag: 2,"), ("ends, regime 2",)),
    "a shape": (("lag: 1,", "lag: 1, shape: logistic,"), ("ends, regime 2",)),
    "an event": (
        ("latest: 1932-10", "latest: 1932-11"),
        ("event new-shop", "ends, regime 2", "label, regime 2"),
    ),
    "shares": (("plain: 0.8, none: 0.2", "plain: 0.7, none: 0.3"),
        ("the shares of buckle, regime 1",)),
    "a slip": (("slip: 0.02", "slip: 0.03"), ("the slip of ends",)),
    "a replacement": (("replaced: 0.1", "replaced: 0.2"), ("the replacement of buckle",)),
    "a mean": (("1932-01: 158", "1932-01: 157"), ("the mean of width",)),
    "a spread": (("spread: 2", "spread: 3"), ("the mean of width",)),
    "a state more": (("[plain, roller, none]", "[plain, roller, none, brass]"), ("buckle",)),
}  # fmt: skip


@pytest.mark.parametrize(("change", "stale"), STALE.values(), ids=STALE)
def test_what_is_stale_is_named_and_the_rest_keeps_its_draws(kept, edited, change, stale):
    maker, learned = edited(change)
    assert learned.edits == Edits(stale=stale)
    sentence = edits_words(learned.edits)
    assert all(name in sentence for name in stale)
    old, new = columns(kept.learned), columns(learned)
    features = set(maker.features())
    touched = {name for name in old if name in stale or name.rpartition(", ")[0] in stale}
    touched |= {name for name in old if name.startswith("buckle") and "buckle" in stale}
    for name, values in old.items():
        if np.ptp(values) > 0:
            assert np.array_equal(values, new[name]) == (name not in touched), name
    slips = [name for name in features if f"the slip of {name}" not in stale and name not in stale]
    for place, name in enumerate(maker.features()):
        same = np.array_equal(learned.slip[:, place], kept.learned.slip[:, place])
        assert same == (name in slips)
    moved = not np.array_equal(learned.means, kept.learned.means)
    assert moved == ("the mean of width" in stale)


def test_a_stale_changeover_follows_its_present_judgement_apart_from_the_rest(edited):
    maker, learned = edited((FIRST_USE, LATER))
    judged = layout_of(maker).numbers["buckle, regime 2, first use"]
    drawn = columns(learned)["buckle, regime 2, first use"]
    levels = [0.05, 0.25, 0.5, 0.75, 0.95]
    assert np.quantile(drawn, levels) == pytest.approx(judged.quantile(levels), abs=0.7)
    others = [v for name, v in columns(learned).items() if "buckle" not in name and np.ptp(v) > 0]
    assert max(abs(np.corrcoef(drawn, other)[0, 1]) for other in others) < 0.2


def test_a_date_rests_on_the_present_judgement_alone(tmp_path):
    """With one feature there is nothing else, so the date is that of the maker file alone."""
    (tmp_path / "example.yaml").write_text(ONE_RAMP, "utf-8")
    maker = read_maker(tmp_path / "example.yaml")
    write_learned(tree_with(maker, arrays_drawn(maker), "0" * 64), tmp_path / "learned.nc")
    (tmp_path / "example.yaml").write_text(ONE_RAMP.replace(FIRST_USE, LATER), "utf-8")
    now = read_maker(tmp_path / "example.yaml")
    learned = read_draws(tmp_path / "learned.nc", now)
    seen = [dating.Examination.model_validate({**SEEN, "seen": {"ends": "wood"}})]
    carried, judged, before = (
        dating.posteriors(now, seen, learned).values[0],
        dating.posteriors(now, seen).values[0],
        dating.posteriors(maker, seen).values[0],
    )
    assert 0.5 * np.abs(carried - judged).sum() < 0.03
    assert 0.5 * np.abs(before - judged).sum() > 0.1


# What is new, what is gone, what stands around it --------------------------------------------

STRAP = """\
      holes:
        ask: Are there holes?
        states: [yes, no]
        slip: 0.03
        history:
          - state: no
          - {state: yes, first_use: [1932-01, 1932-06, 1932-12], overlap: 2}
"""


def test_an_added_feature_comes_from_its_judgement(kept, edited):
    maker, learned = edited((LABEL, LABEL + STRAP))
    assert learned.edits == Edits(added=("holes",))
    assert "Added since, and so not learned: holes." in edits_words(learned.edits)
    old, new = columns(kept.learned), columns(learned)
    assert all(np.array_equal(values, new[name]) for name, values in old.items())
    seen = dating.Examination.model_validate({**SEEN, "seen": {"holes": "yes"}})
    dated = dating.posteriors(maker, [seen], learned).values[0]
    judged = dating.posteriors(maker, [seen]).values[0]
    assert 0.5 * np.abs(dated - judged).sum() < 0.03


def test_a_removed_feature_is_left_out(kept, edited):
    maker, learned = edited((LABEL, ""))
    assert learned.edits == Edits(removed=("label",))
    old, new = columns(kept.learned), columns(learned)
    assert all(np.array_equal(values, old[name]) for name, values in new.items())
    assert "Removed: label." in edits_words(learned.edits)
    both = [
        dating.posteriors(m, [dating.Examination.model_validate(SEEN)], n).values
        for m, n in ((maker, learned), (kept.maker, kept.learned))
    ]
    assert np.allclose(*both)


@pytest.mark.parametrize(
    ("change", "around"),
    [
        (
            (
                "period: 1930/1934\n",
                "period: 1930/1934\noutput: [{during: 1930/1934, made: 900}]\n",
            ),
            "the output",
        ),
        (("swapped: 0.05", "swapped: 0.1"), "the swap of case"),
    ],
)
def test_what_is_never_learned_is_told_and_used_as_it_is_now(kept, edited, change, around):
    _, learned = edited(change)
    assert learned.edits == Edits(around=(around,))
    assert f"learned with an earlier version of: {around}." in edits_words(learned.edits)
    assert np.array_equal(learned.values, kept.learned.values)


OVERLAP = "            overlap: 3\n"
VARIANTS = "period: 1930/1934\nvariants: {states: [a, b], shares_at: {1930-01: {a: 0.5, b: 0.5}}}\n"
REFUSED = {
    "the period": (
        ("period: 1930/1934", "period: 1930/1935"),
        "its period changed from 1930-01/1934-12 to 1930-01/1935-12",
    ),
    "the variants": (("period: 1930/1934\n", VARIANTS), "its variants changed from none to a, b"),
    "a regime more": (
        (OVERLAP, OVERLAP + "          - {state: none, first_use: 1934-01}\n"),
        "the history of buckle changed from 2 regimes to 3",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("change", "words"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_carried_over_is_refused(edited, change, words):
    with pytest.raises(dating.InputError, match="nothing can be carried over: " + words):
        edited(change)


def test_a_file_that_names_no_parts_is_refused(kept, tmp_path):
    tree = tree_with(kept.maker, arrays_drawn(kept.maker), "0" * 64)
    tree["constant_data"] = xr.DataTree(tree["constant_data"].to_dataset().drop_dims("part"))
    write_learned(tree, tmp_path / "learned.nc")
    assert read_draws(tmp_path / "learned.nc", kept.maker).numbers == kept.learned.numbers
    (tmp_path / "example.yaml").write_text(MAKER + "# more\n", "utf-8")
    with pytest.raises(dating.InputError, match="does not say with which parts"):
        read_draws(tmp_path / "learned.nc", read_maker(tmp_path / "example.yaml"))


def test_every_number_of_a_maker_file_belongs_to_a_part(kept):
    """What is drawn is found under one of the parts that stale draws are told by."""
    layout, parts = layout_of(kept.maker), parts_of(kept.maker)
    for name in layout.numbers:
        assert name in parts or name.rpartition(", ")[0] in parts
    assert {f"regimes of {track.label}" for track in layout.tracks} <= set(parts)


# Free-form features --------------------------------------------------------------------------

FREE = """\
maker: Example Reed Works
product: concertinas
period: 1930/1930
components:
  case:
    swapped: 0
    features:
      ends: {ask: What are the ends made of?, states: [wood, metal], free_form: true}
      strap: {ask: Which strap is it?, states: [plain, roller], free_form: true}
"""


def free_form(folder, text):
    (folder / "example.yaml").write_text(FREE, "utf-8")
    maker = read_maker(folder / "example.yaml")
    late = np.linspace(0.1, 0.9, 12)[:, None]
    shares = np.array([1 - late, late])
    fit = Mixture(Settings(), np.ones((12, 1)), (shares, shares[::-1]))
    tree = tree_with(maker, {}, "0" * 64)
    latent = Latent(("ends", "strap"), (fit, fit), Cells.even(12, 1), 0.1, 0.1)
    tree["latent"] = xr.DataTree(latent.dataset())
    held = xr.DataArray(np.linspace(0, 1, 501), dims="level")
    tree["levels"] = xr.DataTree(xr.Dataset({"held": held}, attrs={"instruments": 40}))
    write_learned(tree, folder / "learned.nc")
    (folder / "example.yaml").write_text(text, "utf-8")
    now = read_maker(folder / "example.yaml")
    return now, read_draws(folder / "learned.nc", now)


@pytest.mark.parametrize(
    ("change", "edits", "features"),
    [
        (("strap is it", "strap"), Edits(), ("ends", "strap")),
        (
            (FREE[FREE.index("      strap") :], ""),
            Edits(removed=("strap",), uncorrected=True),
            ("ends",),
        ),
        (
            ("[wood, metal]", "[wood, metal, bone]"),
            Edits(stale=("ends",), uncorrected=True),
            ("strap",),
        ),
        (
            ("      strap", "      lid: {ask: Lid?, states: [a, b], free_form: true}\n      strap"),
            Edits(added=("lid",), uncorrected=True),
            ("ends", "strap"),
        ),
    ],
)  # fmt: skip
def test_free_form_shares_are_carried_over(tmp_path, change, edits, features):
    assert change[0] in FREE
    maker, learned = free_form(tmp_path, FREE.replace(*change, 1))
    assert learned.edits == edits
    assert learned.latent.features == features
    assert (learned.correction is None) == edits.uncorrected
    late = "plain" if "strap" in features else "metal"
    seen = {"strap" if "strap" in features else "ends": late}
    examination = dating.Examination.model_validate({**SEEN, "seen": seen})
    dated = dating.posteriors(maker, [examination], learned).values[0]
    assert dated == pytest.approx(np.linspace(0.1, 0.9, 12) / 6, abs=1e-9)
    nothing = {name: next(iter(f.states)) for name, (_, f) in maker.features().items()}
    nothing = {name: state for name, state in nothing.items() if name not in features}
    if nothing:
        examination = dating.Examination.model_validate({**SEEN, "seen": nothing})
        flat = dating.posteriors(maker, [examination], learned).values[0]
        assert flat == pytest.approx(np.full(12, 1 / 12), abs=1e-9)


# What is said --------------------------------------------------------------------------------


@pytest.fixture
def changed(kept, tmp_path):
    (tmp_path / "example.yaml").write_text(MAKER.replace(FIRST_USE, LATER), "utf-8")
    (tmp_path / "x.yaml").write_text("instrument: X\nmaker: example\nseen: {buckle: roller}\n")
    maker = read_maker(tmp_path / "example.yaml")
    learned = read_draws(kept.path, maker)
    return SimpleNamespace(folder=tmp_path, maker=maker, learned=learned, path=kept.path)


def test_an_estimate_says_so_first(changed):
    order = ("estimate", changed.folder / "x.yaml", "--learned", changed.path)
    words, said = " ".join(run(*order).output.split()), edits_words(changed.learned.edits)
    assert said.startswith(
        "The maker file has changed since this was learned. Present judgements replace what was "
        "learned about: buckle, regime 2."
    )
    assert words.index(said) < words.index("WHEN IT WAS BUILT")
    record = json.loads(run(*order, "--as", "json").output)
    assert record["draws"] | {"divergences": 0} == {
        "sound": True, "divergences": 0, "sentence": "", "maker_file_changed": said
    }  # fmt: skip


@pytest.mark.parametrize("code", ["en", "de"])
def test_a_note_and_a_sale_say_so(changed, code):
    seen = dating.read_examination(changed.folder / "x.yaml")
    made = dating.estimate(changed.maker, seen, learned=changed.learned)
    wording = Wording(language(code))
    assert "buckle, regime 2" in note_of(made, wording).date.sentences[0]
    assert wording.language.texts["sale.flags.edited"] in entry_of(made, wording, "1", "").why


def test_what_needs_the_draws_as_they_were_is_refused(changed):
    (changed.folder / "corpus.csv").write_text("instrument,built,ends\nA,1931-05,wood\n", "utf-8")
    files = (changed.folder / "example.yaml", changed.folder / "corpus.csv")
    for order in (
        ("calibrate", *files, "--learned", changed.path),
        ("learn", *files, "--learned", changed.path, "--maker-out", changed.folder / "y.yaml"),
    ):
        refused = run(*order)
        assert refused.exit_code == 1, refused.output
        assert "The maker file has changed since this was learned" in " ".join(
            refused.output.split()
        )
    assert not (changed.folder / "y.yaml").exists()
