"""Words, records and pictures of an estimate."""

import numpy as np
import pytest

import dating
from dating.figures.estimate import CORE, REST, SET, draw_estimate
from dating.words.phrases import bits, percent, together
from dating.words.record import as_record
from dating.words.text import as_text


def made(name, **options):
    maker = dating.read_maker("priors/marrowby.yaml")
    file = f"demo_data/examinations/{name}.yaml"
    return dating.estimate(maker, dating.read_examination(file), **options)


def test_percent_never_rounds_to_none_or_all():
    assert percent(0.999999) == ">99 %"
    assert percent(1e-9) == "<1 %"
    assert percent(0.0) == "0 %"


def test_bits_that_decide_say_so():
    assert bits(np.inf) == "decides"


def test_the_worst_component_is_named_first():
    words = together({"neck": 0.6, "body": 0.1, "hardware": 0.9})
    assert words.index("body") < words.index("neck")
    assert "hardware" not in words


def test_a_swapped_neck_is_said_in_words():
    words = " ".join(as_text(made("M-003")).split())
    assert "The neck probably did not belong to this instrument originally" in words


def test_replaced_tuners_are_said_in_words():
    assert "Later replacement of the tuner plate: probability" in " ".join(
        as_text(made("M-004")).split()
    )


def test_a_contradiction_names_both_sides():
    estimate = made("M-007")
    clash = estimate.conflict.contradictions[0]
    section = as_text(estimate).split("CONTRADICTIONS")[1].split("WHAT TO LOOK")[0]
    assert clash.piece.name.replace("-", " ") in section
    assert clash.other.name.replace("-", " ") in section


def test_an_unlisted_state_is_recorded_and_not_weighed():
    assert "Recorded but not weighed" in as_text(made("M-008"))


def test_nothing_examined_is_said_plainly(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_text("instrument: X\nmaker: marrowby\n", encoding="utf-8")
    maker = dating.read_maker("priors/marrowby.yaml")
    estimate = dating.estimate(maker, dating.read_examination(file))
    assert "Nothing examined bears on the date" in as_text(estimate)
    assert draw_estimate(estimate).axes


def test_draws_that_do_not_converge_are_said(monkeypatch):
    estimate = made("M-001")
    assert "above the target of 0.002" not in " ".join(as_text(estimate).split())
    monkeypatch.setattr("dating.estimates.TOLERATED_ERROR", 1e-9)
    monkeypatch.setattr("dating.learning.learned.MOST_POINTS", 64)
    rough = made("M-001")
    assert not rough.converged
    assert rough.tables.draws == 8 * 64
    assert "Not converged: the draws leave" in " ".join(as_text(rough).split())


def test_the_record_holds_plain_data_only():
    def plain(value):
        if isinstance(value, dict):
            return all(isinstance(key, str) and plain(item) for key, item in value.items())
        if isinstance(value, list):
            return all(plain(item) for item in value)
        return value is None or type(value) in {str, int, float, bool}

    assert plain(as_record(made("M-007")))


@pytest.mark.parametrize("name", [f"M-{number:03d}" for number in range(1, 11)])
def test_the_picture_shows_the_posterior_and_its_sets(name):
    estimate = made(name)
    figure = draw_estimate(estimate)
    posterior, strips, parts = figure.axes
    heights = [bar.get_height() for bar in posterior.patches]
    assert heights == pytest.approx(estimate.probabilities.tolist())
    labels = [label.get_text() for label in strips.get_yticklabels()]
    names = [finding.piece.name.replace("-", " ") for finding in estimate.findings]
    assert [label.split(":")[0] for label in labels] == names
    widths = [bar.get_width() for bar in parts.patches[: len(estimate.originality)]]
    assert widths == pytest.approx(list(estimate.originality.values()))
    assert estimate.examination.instrument in figure.get_label()


def test_the_sets_can_be_told_apart_in_grey():
    def lightness(colour):
        red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    shades = sorted(lightness(colour) for colour in (CORE, SET, REST))
    assert min(np.diff(shades)) > 0.2


def test_the_strips_stand_on_the_months_of_the_posterior():
    figure = draw_estimate(made("M-001"))
    posterior, strips, _ = figure.axes
    assert posterior.get_xlim() == strips.get_xlim()
