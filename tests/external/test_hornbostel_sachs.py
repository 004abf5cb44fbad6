"""Class numbers against the published classification of musical instruments.

E. M. von Hornbostel and C. Sachs, Systematik der Musikinstrumente, Zeitschrift fuer Ethnologie 46
(1914), 553-590; English by A. Baines and K. P. Wachsmann, Galpin Society Journal 14 (1961), 3-29;
revised by the MIMO consortium, Revision of the Hornbostel-Sachs Classification of Musical
Instruments (2011). The numbers below were read in reproductions of the table, each named, not in
these prints; those that were not read say "from memory".
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dating import InputError, read_maker

MAKER = """\
maker: Example Works
product: lyres
hornbostel_sachs: {number}
period: 1923-03/1928-11
components:
  neck:
    features:
      dots:
        ask: Which dots?
        states: [a, b]
        history: [{{state: a}}, {{state: b, first_use: 1925-01}}]
"""

PUBLISHED = [
    # number, what it classes, where it was read
    ("321.321", "necked bowl lutes: the mandolin", "table of the Museum of World Music"),
    ("321.322", "necked box lutes: the guitar", "table of the Museum of World Music"),
    ("321.322", "the guitar, named by its number", "J. Montagu, Hornbostel-Sachs Reconsidered"),
    ("321.312-6", "spike box lutes with a plectrum", "Wikipedia, list of numbers: 321.312"),
    ("321.312-5", "spike box lutes with bare fingers", "Wikipedia, list of numbers: 321.312"),
    ("321.2", "yoke lutes or lyres", "table of the Museum of World Music"),
    ("111.212", "sets of percussion sticks: the xylophone", "Wikipedia, template HS number"),
    ("423.121.22", "end-blown trumpets: the bugle", "Fact Index, Hornbostel-Sachs"),
    ("321.322-71", "with a bow: the violin", "suffix in the same list; whole, from memory"),
    ("314.122-4-8", "board zithers, struck by keys: the piano", "from memory"),
    ("111.242.222", "sets of hanging bells with internal strikers", "from memory"),
    ("422.112-62 + 422.22-62", "bagpipe with drone, joined by a plus sign", "from memory"),
    ("5", "electrophones, class five", "MIMO 2011, introduction: a class 5 of electrophones"),
]
REFUSED = [
    "",
    "6",
    "0",
    "mandolin",
    "321.",
    ".321",
    "3211.322",
    "321322",
    "32.1322",
    "321.3222.1",
    "321.32.2",
    "321,322",
    "321.322-",
    "321.322--6",
    "321.322 -6",
    "-6",
    "321.322+",
    "+321.322",
    "321.322 + 6",
    "321.322\n",
    "1e3",
    "true",
    "[321, 322]",
    "３２１.３２２",
]


def made(tmp_path, number):
    file = tmp_path / "small.yaml"
    file.write_text(MAKER.format(number=number), encoding="utf-8")
    return read_maker(file).hornbostel_sachs


@pytest.mark.parametrize("number", sorted({number for number, _, _ in PUBLISHED}))
def test_published_numbers_are_read(tmp_path, number):
    assert made(tmp_path, number) == number
    assert made(tmp_path, f'"{number}"') == number


@pytest.mark.parametrize("number", REFUSED)
def test_other_writings_are_refused_where_they_stand(tmp_path, number):
    quoted = f'"{number}"'.replace("\n", "\\n")
    for written in {quoted, number if number in {"true", "[321, 322]", "1e3"} else quoted}:
        with pytest.raises(InputError) as refusal:
            made(tmp_path, written)
        (problem,) = refusal.value.problems
        assert (problem.line, problem.key) == (3, "hornbostel_sachs")
        assert "Hornbostel-Sachs" in problem.message
        assert "321.322-6" in str(problem)


@given(
    digits=st.from_regex(r"\A[1-5][1-9]{0,11}\Z"),
    suffixes=st.lists(st.integers(1, 99), max_size=2),
)
def test_points_stand_after_every_third_digit(tmp_path_factory, digits, suffixes):
    groups = [digits[i : i + 3] for i in range(0, len(digits), 3)]
    number = ".".join(groups) + "".join(f"-{suffix}" for suffix in suffixes)
    folder = tmp_path_factory.mktemp("points")
    assert made(folder, f'"{number}"') == number
    if len(groups) > 1:
        with pytest.raises(InputError):
            made(folder, f'"{number.replace(".", "", 1)}"')


def test_the_demo_makes_necked_box_lutes_with_a_plectrum():
    assert read_maker("priors/marrowby.yaml").hornbostel_sachs == "321.322-6"


def test_a_maker_file_may_leave_the_number_out(tmp_path):
    file = tmp_path / "small.yaml"
    text = MAKER.replace("hornbostel_sachs: {number}\n", "")
    file.write_text(text.format(), encoding="utf-8")
    assert read_maker(file).hornbostel_sachs is None
