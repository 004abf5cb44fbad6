"""Claims are read from YAML, or the simple kinds from CSV; mistakes are located."""

import csv
import io
import random

import pytest

from dating import InputError, read_maker
from dating.claims.evidence import Evidence
from dating.claims.files import COLUMNS, manuscript_of, read_claims
from dating.claims.production import Production
from dating.claims.weighing import weighed
from dating.kinds import kind_of
from dating.learning.prior import prior_draws
from dating.months import Period
from dating.reading import read_yaml
from dating.words.claims import rewording
from dating.words.file_summary import understood
from tests.mutating import WHOLE, spoiled_structure, spoiled_text, written
from tests.test_mutations import SMALL_EXAMINATION, SMALL_MAKER, check_problems

CLAIMS = """\
maker: small
manuscript: The lyres of the Example Works
invented: true
note: one of each kind
examinations: [E-1.yaml, E-2.yaml]
claims:
  - claim: new works lyre
    sentence: It was made in the year of the move.
    place: page 12
    source: letter
    says: {built: {instrument: E-1, within: 1925-01/1926-02}}
  - claim: untouched
    says: {original: {instrument: E-1}}
  - claim: neck and body
    says: {original: {instrument: E-2, components: [neck, body]}}
  - claim: sisters
    says: {apart: {instruments: [E-1, E-2], at_most: 6}}
  - claim: elder
    says: {older: {instruments: [E-1, E-2]}}
  - claim: first dowels
    says: {first_use: {feature: joint, state: dowelled, within: 1924-10/1925-03}}
  - claim: last tapers
    says: {last_use: {feature: joint, state: tapered, not_after: 1926}}
  - claim: concert binding
    says: {first_use: {feature: binding, state: white, variant: plain, not_before: 1926-02}}
  - claim: dowels before plastic
    says:
      changed_first:
        earlier: {feature: joint, to: dowelled}
        later: {feature: nut, to: plastic}
        by: 2.5
  - claim: quick change
    says: {overlap: {changeover: {feature: joint, to: dowelled}, shorter_than: 6}}
  - claim: concert grade
    says: {overlap: {changeover: {feature: variants, to: concert}, shorter_than: 9}}
  - claim: mostly screwed
    says: {share: {states: {joint: screwed}, during: 1927, at_least: 0.6}}
  - claim: never bone
    says: {share: {states: {nut: bone, joint: [screwed, dowelled]}, during: 1927, was: none}}
  - claim: nearly all plastic
    says:
      share: {states: {nut: plastic}, variant: concert, during: 1927, was: all, tolerance: 0.1}
  - claim: few concerts
    says: {made: {states: {variants: concert}, during: 1926/1927, between: [100, 900]}}
  - claim: survivors
    says:
      made:
        states: {joint: tapered}
        variant: plain
        about: 50
        give_or_take: 0.4
        survival: {lowest: 0.02, likely: 0.05, highest: 0.12, by: A, source: guess}
  - claim: together
    all_of:
      - built: {instrument: E-1, within: 1925}
      - original: {instrument: E-1, components: neck}
      - first_use: {feature: joint, state: screwed, not_after: 1926}
"""

SHEET = """\
# Invented.
# maker: small
# examinations: E-1.yaml | E-2.yaml
claim,sentence,place,source,kind,instrument,components,feature,state,variant,within,not_before,not_after,shorter_than,during,at_least,was,tolerance
new works lyre,It was made in the year of the move.,page 12,letter,built,E-1,,,,,1925-01/1926-02,,,,,,,
untouched,,,,original,E-1,all,,,,,,,,,,,
neck and body,,,,original,E-2,neck | body,,,,,,,,,,,
first dowels,,,,first_use,,,joint,dowelled,,1924-10/1925-03,,,,,,,

last tapers,,,,last_use,,,joint,tapered,,,,1926,,,,,
concert binding,,,,first_use,,,binding,white,plain,,1926-02,,,,,,
quick change,,,,overlap,,,joint,dowelled,,,,,6,,,,
concert grade,,,,overlap,,,variants,concert,,,,,9,,,,
mostly screwed,,,,share,,,joint,screwed,,,,,,1927,0.6,,
nearly all plastic,,,,share,,,nut,plastic,concert,,,,,1927,,all,0.1
"""  # noqa: E501

ALLOWED_KINDS = "built, first_use, last_use, original, overlap, share"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("claims")
    (folder / "small.yaml").write_text(SMALL_MAKER, "utf-8")
    (folder / "E-1.yaml").write_text(SMALL_EXAMINATION, "utf-8")
    other = SMALL_EXAMINATION.replace("E-1", "E-2").replace("joint: dowelled", "joint: screwed")
    (folder / "E-2.yaml").write_text(other, "utf-8")
    return folder


@pytest.fixture(scope="module")
def small(folder):
    return read_maker(folder / "small.yaml")


@pytest.fixture(scope="module")
def read(folder, small):
    """Write claims beside the maker file, and read them."""

    def read(text, name="claims.yaml", maker=small):
        file = folder / name
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return manuscript_of(read_claims(file), maker)

    return read


@pytest.fixture(scope="module")
def problems(read, folder):
    def problems(text, name="claims.yaml", **options):
        with pytest.raises(InputError) as refusal:
            read(text, name, **options)
        content = text if isinstance(text, bytes) else text.encode()
        check_problems(refusal.value.problems, str(folder / name), content)
        return refusal.value.problems

    return problems


def changed(text, old, new):
    assert text.count(old) == 1
    return text.replace(old, new)


def line_of(text, part):
    (line,) = (k for k, row in enumerate(text.splitlines(), start=1) if part in row)
    return line


# What is read


def test_every_kind_is_read_from_yaml(read, folder, small):
    made = read(CLAIMS)
    claims = {claim.claim: claim for claim in made.claims.claims}
    assert (made.claims.maker, made.claims.manuscript) == (
        "small",
        "The lyres of the Example Works",
    )
    assert (made.claims.invented, made.claims.note) == (True, "one of each kind")
    assert made.maker is small
    assert list(made.examinations) == ["E-1", "E-2"]
    assert made.claims.origin.file == str(folder / "claims.yaml")
    first = claims["new works lyre"]
    assert (first.place, first.source) == ("page 12", "letter")
    assert first.sentence == "It was made in the year of the move."
    kinds = {saying.kind for claim in claims.values() for saying in claim.sayings()}
    assert len(kinds) == 10

    def said(name):
        (one,) = claims[name].sayings()
        return one.content

    assert said("new works lyre").within == Period.parse("1925-01/1926-02")
    assert said("untouched").components == "all"
    assert said("neck and body").components == ("neck", "body")
    assert (said("sisters").instruments, said("sisters").at_most) == (("E-1", "E-2"), 6)
    assert said("elder").instruments == ("E-1", "E-2")
    assert said("first dowels").within == Period.parse("1924-10/1925-03")
    assert said("last tapers").not_after == Period.parse("1926")
    assert (said("concert binding").variant, said("concert binding").within) == ("plain", None)
    order = said("dowels before plastic")
    assert (order.earlier.feature, order.earlier.to, order.later.to) == (
        "joint",
        "dowelled",
        "plastic",
    )
    assert (order.by, order.earlier.variant) == (2.5, None)
    assert said("quick change").shorter_than == 6
    assert said("concert grade").changeover.feature == "variants"
    assert said("mostly screwed").states == {"joint": ("screwed",)}
    assert said("mostly screwed").at_least == 0.6
    assert said("never bone").states == {"nut": ("bone",), "joint": ("screwed", "dowelled")}
    assert (said("never bone").was, said("never bone").tolerance) == ("none", 0)
    assert (said("nearly all plastic").was, said("nearly all plastic").tolerance) == ("all", 0.1)
    assert said("few concerts").ends() == (100, 900)
    assert said("survivors").ends() == (30, 70)
    assert said("survivors").survival.likely == 0.05
    together = claims["together"].sayings()
    assert [one.kind for one in together] == ["built", "original", "first_use"]
    assert together[1].content.components == ("neck",)
    assert claims["together"].instruments() == ("E-1",)
    assert claims["sisters"].instruments() == ("E-1", "E-2")


def test_a_sheet_says_the_same_as_yaml(read):
    sheet, yaml = read(SHEET, "claims.csv"), read(CLAIMS)
    by_name = {claim.claim: claim for claim in yaml.claims.claims}
    assert len(sheet.claims.claims) == 10
    for claim in sheet.claims.claims:
        assert claim == by_name[claim.claim]
    kinds = {claim.says.kind for claim in sheet.claims.claims}
    assert kinds == set(ALLOWED_KINDS.split(", "))
    assert list(sheet.examinations) == list(yaml.examinations)
    assert set(SHEET.splitlines()[3].split(",")) == set(COLUMNS)
    assert len(sheet.claims.origin.fingerprint) == 64


def test_a_sheet_needs_no_more_columns_than_it_uses(read):
    row = "last_use,A,joint,tapered,1926"
    made = read(f"# maker: small\nkind,claim,feature,state,not_after\n{row}\n", "claims.csv")
    assert made.claims.claims[0].says.last_use.not_after == Period.parse("1926")
    assert made.examinations == {}


def test_examinations_are_found_beside_the_claims_file(read, folder):
    inner = folder / "examined"
    inner.mkdir()
    (inner / "E-3.yaml").write_text(SMALL_EXAMINATION.replace("E-1", "E-3"), "utf-8")
    text = CLAIMS.replace("E-1.yaml", "examined/E-3.yaml").replace("E-1", "E-3")
    assert list(read(text).examinations) == ["E-3", "E-2"]


# What is refused


def refused(problem, key, found, allowed, nearest):
    assert (problem.key, problem.found, problem.nearest) == (key, found, nearest)
    assert allowed in problem.allowed


WRONG_NAMES = [
    ("built: {instrument: E-1, within: 1925-01", "instrument: E-1", "instrument: E-11",
     "claims[1].says.built", "'E-11'", "E-1, E-2", "E-1"),
    ("components: [neck, body]", "neck, body", "neck, boddy",
     "claims[3].says.original.components", "'boddy'", "body, neck", "body"),
    ("first_use: {feature: joint, state: dowelled", "feature: joint", "feature: joints",
     "claims[6].says.first_use.feature", "'joints'", "binding, joint, label, nut", "joint"),
    ("first_use: {feature: joint, state: dowelled", "dowelled", "doweled",
     "claims[6].says.first_use.state", "'doweled'", "dowelled, screwed, tapered", "dowelled"),
    ("variant: plain, not_before: 1926-02", "plain", "plane",
     "claims[8].says.first_use.variant", "'plane'", "concert, plain", "plain"),
    ("later: {feature: nut, to: plastic}", "to: plastic", "to: plastics",
     "claims[9].says.changed_first.later.to", "'plastics'", "bone, plastic", "plastic"),
    ("overlap: {changeover: {feature: joint", "feature: joint", "feature: join",
     "claims[10].says.overlap.changeover.feature", "'join'", "joint", "joint"),
    ("states: {joint: screwed}, during: 1927", "joint: screwed", "joints: screwed",
     "claims[12].says.share.states.joints", "'joints'", "joint", "joint"),
    ("states: {joint: screwed}, during: 1927", "screwed", "screw",
     "claims[12].says.share.states.joint", "'screw'", "dowelled, screwed, tapered", "screwed"),
    ("states: {variants: concert}", "concert", "concerto",
     "claims[15].says.made.states.variants", "'concerto'", "concert, plain", "concert"),
    ("says: {apart:", "apart", "appart", "claims[4].says.appart", "'appart'",
     "apart, built, changed_first, earliest_with, first_use, last_use, made, older, original, "
     "overlap, share",
     "apart"),
    ("was: none}", "was: none", "was: some", "claims[13].says.share.was", "'some'", "all", ""),
]  # fmt: skip


@pytest.mark.parametrize("wrong", WRONG_NAMES, ids=lambda wrong: wrong[2])
def test_unknown_names_are_located(problems, wrong):
    line, old, new, key, found, allowed, nearest = wrong
    (row,) = (one for one in CLAIMS.splitlines() if line in one)
    text = changed(CLAIMS, row, changed(row, old, new))
    made = problems(text)
    assert [problem.line for problem in made] == [line_of(CLAIMS, line)]
    refused(made[0], key, found, allowed, nearest)


ONE = """\
maker: small
examinations: [E-1.yaml, E-2.yaml]
claims:
  - claim: A
    says:
      {said}
"""
SAID_WRONGLY = [
    ("built: {instrument: E-1, within: 1922/1925}", "built.within",
     "outside the maker file's period, about which it says nothing", "1922-01/1925-12"),
    ("first_use: {feature: joint, state: dowelled, not_after: 1929}", "first_use.not_after",
     "outside the maker file's period", "1929-01/1929-12"),
    ("share: {states: {joint: screwed}, during: 1921, was: none}", "share.during",
     "outside the maker file's period", "1921-01/1921-12"),
    ("first_use: {feature: joint, state: tapered, within: 1924}", "first_use.state",
     "in use from the start of the period, so it has no first use", "tapered"),
    ("last_use: {feature: joint, state: screwed, within: 1927}", "last_use.state",
     "in use to the end of the period, so it has no last use", "screwed"),
    ("first_use: {feature: binding, state: white, variant: concert, within: 1924}",
     "first_use.feature", "has a table of shares, so it has no first or last use", ""),
    ("first_use: {feature: label, state: square, variant: concert, within: 1924}",
     "first_use.feature", "has a table of shares", ""),
    ("overlap: {changeover: {feature: joint, to: tapered}, shorter_than: 3}",
     "overlap.changeover", "no changeover brings in tapered", ""),
    ("built: {instrument: E-1, within: 1925-02-03}", "built.within", "plain months or years", ""),
    ("built: {instrument: E-1, within: 1926/1925}", "built.within", "ends before it begins", ""),
    ("built: {instrument: E-1}", "built.within", "this key is missing", ""),
    ("older: {instruments: [E-1, E-1]}", "older.instruments", "different instruments", "E-1"),
    ("older: {instruments: [E-1]}", "older.instruments", "at least 2", ""),
    ("older: {instruments: [E-1, E-2, E-1]}", "older.instruments", "different instruments", "E-1"),
    ("earliest_with: {instrument: E-1, feature: joint, state: tapered, among: [E-1]}",
     "earliest_with.among", "different instruments", "E-1"),
    ("earliest_with: {instrument: E-1, feature: joint, state: taper, among: [E-2]}",
     "earliest_with.state", "no such state", "taper"),
    ("earliest_with: {instrument: E-1, feature: joint, state: screwed, among: [E-2]}",
     "earliest_with", "screwed was not seen on it", "E-1"),
    ("earliest_with: {instrument: E-1, feature: nut, state: bone, among: [E-2]}",
     "earliest_with", "or not without doubt", "E-1"),
    ("earliest_with: {instrument: E-1, feature: binding, state: white, among: [E-2]}",
     "earliest_with", "or not without doubt", "E-1"),
    ("apart: {instruments: [E-1, E-2], at_most: 2.5}", "apart.at_most", "whole number", "2.5"),
    ("apart: {instruments: [E-1, E-2], at_most: -1}", "apart.at_most", "at least 0", "-1"),
    ("first_use: {feature: joint, state: dowelled}", "first_use", "give one of within", ""),
    ("first_use: {feature: joint, state: dowelled, within: 1924, not_after: 1925}", "first_use",
     "give one of within, not_before and not_after", ""),
    ("overlap: {changeover: {feature: joint, to: dowelled}, shorter_than: 0}",
     "overlap.shorter_than", "more than 0", "0"),
    ("overlap: {changeover: {feature: joint, to: dowelled}, shorter_than: six}",
     "overlap.shorter_than", "a number is expected here", "six"),
    ("share: {states: {joint: screwed}, during: 1927}", "share", "give either at_least", ""),
    ("share: {states: {joint: screwed}, during: 1927, at_least: 0.5, was: all}", "share",
     "give either at_least", ""),
    ("share: {states: {joint: screwed}, during: 1927, at_least: 0.5, tolerance: 0.1}", "share",
     "a tolerance belongs to was", ""),
    ("share: {states: {joint: screwed}, during: 1927, at_least: 1.5}", "share.at_least",
     "a number of at most 1 is", "1.5"),
    ("share: {states: {}, during: 1927, was: all}", "share.states", "at least 1", ""),
    ("made: {states: {joint: screwed}}", "made", "give either between", ""),
    ("made: {states: {joint: screwed}, about: 40}", "made", "go together", ""),
    ("made: {states: {joint: screwed}, between: [9, 4]}", "made", "must ascend", ""),
    ("made: {states: {joint: screwed}, between: [-1, 4]}", "made", "from zero or more", ""),
    ("made: {states: {joint: screwed}, between: [1, .inf]}", "made.between[2]",
     "a number is expected here", ".inf"),
    ("made: {states: {joint: screwed}, between: [1, 4], survival: "
     "{lowest: 0.2, likely: 0.1, highest: 0.3}}", "made.survival",
     "as log-odds: the three values must ascend", ""),
    ("made: {states: {joint: screwed}, between: [1, 4], survival: "
     "{lowest: 0.01, likely: 0.01, highest: 0.9}}", "made.survival", "as log-odds: ", ""),
    ("made: {states: {joint: screwed}, between: [1, 4], survival: "
     "{lowest: 0, likely: 0.1, highest: 0.3}}", "made.survival.lowest", "more than 0", "0"),
]  # fmt: skip


@pytest.mark.parametrize(("said", "key", "message", "found"), SAID_WRONGLY)
def test_what_is_said_wrongly_is_located(problems, said, key, message, found):
    problem = problems(ONE.replace("{said}", said))[0]
    assert problem.key == f"claims[1].says.{key}"
    assert problem.line == 6
    assert message in problem.message
    assert found in problem.found
    if "period, about which" in message:
        assert problem.allowed == "1923-03/1928-11"


@pytest.mark.parametrize(
    "said",
    [
        "built: {instrument: E-1}",
        "made: {states: {joint: screwed}, between: [1, many]}",
        "share: {states: {joint: screwed}, during: 1921, was: none}",
    ],
)
def test_one_mistake_is_told_once(problems, said):
    assert len(problems(ONE.replace("{said}", said))) == 1


def test_a_changeover_that_could_be_any_of_several_is_refused(folder, problems):
    """With a state that comes, goes and comes again; and with one course for each variant."""
    text = SMALL_MAKER.replace(
        "concert: {shares_at: {1923-03: {none: 1}, 1928-01: {none: 0.5, white: 0.5}}}",
        "concert: {history: [{state: none}, {state: white, first_use: 1926-01}]}",
    ).replace(
        "[{state: bone}, {state: plastic, with: new-works, shape: logistic}]",
        "[{state: bone}, {state: plastic, first_use: 1925-01}, {state: bone, first_use: 1926-01},"
        " {state: plastic, first_use: 1927-01}]",
    )
    (folder / "other.yaml").write_text(text, "utf-8")
    maker = read_maker(folder / "other.yaml")
    for way, allowed, message in (
        ("{feature: nut, to: plastic}", "nothing", "more than one changeover brings it in"),
        ("{feature: binding, to: white}", "concert, plain", "it in; name the variant"),
    ):
        said = f"overlap: {{changeover: {way}, shorter_than: 3}}"
        (problem,) = problems(ONE.replace("{said}", said), maker=maker)
        assert (problem.key, problem.line) == ("claims[1].says.overlap.changeover", 6)
        assert problem.message.endswith(message)
        assert problem.allowed == allowed
    said = "{feature: binding, to: white, variant: plain}"
    said = f"changed_first: {{earlier: {said}, later: {said.replace('plain', 'concert')}}}"
    (folder / "claims.yaml").write_text(ONE.replace("{said}", said), "utf-8")
    assert manuscript_of(read_claims(folder / "claims.yaml"), maker).claims.claims


def test_numbers_need_an_output(folder, problems, read):
    start, end = SMALL_MAKER.index("output:"), SMALL_MAKER.index("events:")
    (folder / "none.yaml").write_text(SMALL_MAKER[:start] + SMALL_MAKER[end:], "utf-8")
    maker = read_maker(folder / "none.yaml")
    share = "share: {states: {joint: screwed}, during: 1927, was: all"
    for said, key in (
        ("made: {states: {joint: screwed}, between: [1, 4]}", "made"),
        (share + "}", "share"),
    ):
        (problem,) = problems(ONE.replace("{said}", said), maker=maker)
        assert (problem.key, problem.line) == (f"claims[1].says.{key}", 6)
        assert "states no output, so numbers cannot be judged" in problem.message
        assert ("a tolerance asks for shares alone" in problem.message) == (key == "share")
    assert read(ONE.replace("{said}", share + ", tolerance: 0.2}"), maker=maker)


def test_a_stretch_in_which_nothing_was_made_is_refused(folder, problems):
    text = SMALL_MAKER.replace("during: 1923-03/1925-12", "during: 1924-03/1925-12")
    (folder / "late.yaml").write_text(text, "utf-8")
    said = "share: {states: {joint: tapered}, during: 1923-04/1923-09, at_least: 0.5}"
    (problem,) = problems(ONE.replace("{said}", said), maker=read_maker(folder / "late.yaml"))
    assert (problem.key, problem.line) == ("claims[1].says.share.during", 6)
    assert problem.message == "by the maker file nothing was made in 1923-04/1923-09"


def test_free_form_features_bear_no_claim(folder, problems):
    start, end = (
        SMALL_MAKER.index("        history: [{state: bone}"),
        SMALL_MAKER.index("    marks:"),
    )
    text = SMALL_MAKER[:start] + "        free_form: true\n" + SMALL_MAKER[end:]
    (folder / "free.yaml").write_text(text, "utf-8")
    maker = read_maker(folder / "free.yaml")
    for said, key, message in (
        ("first_use: {feature: nut, state: plastic, within: 1925}", "first_use.feature",
         "this feature is free_form: its shares are learned, and it has no changeovers"),
        ("share: {states: {nut: plastic}, during: 1925, was: all}", "share.states.nut",
         "the shares of this feature are left to be learned, so no claim can rest on them"),
    ):  # fmt: skip
        (problem,) = problems(ONE.replace("{said}", said), maker=maker)
        assert (problem.key, problem.line, problem.message) == (f"claims[1].says.{key}", 6, message)


@pytest.mark.parametrize(
    ("says", "key", "message"),
    [
        ("says:\n      built: {instrument: E-1, within: 1925}\n      original: {instrument: E-1}",
         "says", "a claim says exactly one thing"),
        ("says: {}", "says", "a claim says exactly one thing"),
        ("note: none", "note", "this key is not known here"),
        ("place: none", "", "give either says (one thing) or all_of"),
        ("says: {original: {instrument: E-1}}\n    all_of: [{original: {instrument: E-1}}, "
         "{original: {instrument: E-2}}]", "", "give either says"),
        ("all_of: [{original: {instrument: E-1}}]", "all_of", "at least 2"),
        ("all_of: [{original: {instrument: E-1}}, {original: {instrument: E-7}}]",
         "all_of[2].original", "no examination of this instrument is listed"),
    ],
)  # fmt: skip
def test_a_claim_says_one_thing_or_several_together(problems, says, key, message):
    text = f"maker: small\nexaminations: [E-1.yaml, E-2.yaml]\nclaims:\n  - claim: A\n    {says}\n"
    problem = problems(text)[0]
    assert problem.key == f"claims[1].{key}".removesuffix(".")
    assert problem.line == (4 if not key else 5)
    assert message in problem.message
    if "exactly one" in message:
        assert problem.allowed.startswith(
            "one of built, original, apart, older, earliest_with, first_use"
        )


def test_names_of_claims_and_instruments_are_used_once(problems):
    text = changed(CLAIMS, "claim: elder", "claim: sisters")
    assert [(p.line, p.key) for p in problems(text)] == [
        (16, "claims[4].claim"),
        (18, "claims[5].claim"),
    ]
    (problem,) = problems(changed(CLAIMS, "[E-1.yaml, E-2.yaml]", "[E-1.yaml, E-2.yaml, E-1.yaml]"))
    assert (problem.line, problem.key) == (5, "examinations[3]")
    assert problem.message == "this instrument is listed twice"
    assert problem.found == "'E-1'"


def test_what_is_wrong_with_an_examination_is_told_of_the_examination(folder, read):
    (folder / "bad.yaml").write_text(SMALL_EXAMINATION.replace("dowelled", "doweled"), "utf-8")
    with pytest.raises(InputError) as refusal:
        read(changed(CLAIMS, "[E-1.yaml,", "[E-1.yaml, bad.yaml,"))
    (problem,) = refusal.value.problems
    assert (problem.file, problem.line) == (str(folder / "bad.yaml"), 7)
    assert problem.key == "seen.joint"


# What is refused in a sheet


@pytest.mark.parametrize(
    "wrong",
    [
        ("# maker: small\n", "", 3, "maker", "a comment '# maker: NAME' above the names", ""),
        ("claim,sentence", "claims,sentence", 4, "claims", "no such column in claims", "claim"),
        (",kind,", ",sort,", 4, "sort", "no such column in claims", "source"),
        ("built,E-1,,,,,1925-01/1926-02,", "built,E-1,,,,,", 5, "", "17 cells under 18", ""),
        ("untouched,,", "untouched,,,", 6, "", "19 cells under 18 columns", ""),
        ("untouched,,,,original,", "untouched,,,,orignal,", 6, "kind", "no such kind", "original"),
        ("untouched,,,,original,", "untouched,,,,older,", 6, "kind",
         "no such kind of claim in a sheet; others are written in YAML", ""),
        ("untouched,,,,original,", "untouched,,,,,", 6, "kind", "no such kind", ""),
        ("untouched,,,,original,E-1,", "untouched,,,,original,E-11,", 6,
         "claims[2].says.original", "no examination of this instrument", "E-1"),
        ("original,E-2,neck | body", "original,E-2,neck | bodi", 7,
         "claims[3].says.original.components", "no such component", "body"),
        (",joint,dowelled,,1924-10/", ",joint,doweled,,1924-10/", 8,
         "claims[4].says.first_use.state", "no such state", "dowelled"),
        ("joint,dowelled,,,,,6,", "joint,tapered,,,,,6,", 12,
         "claims[7].says.overlap.changeover", "no changeover brings in tapered", ""),
    ],
)  # fmt: skip
def test_a_sheet_that_is_wrong(problems, wrong):
    old, new, line, key, message, nearest = wrong
    made = problems(changed(SHEET, old, new), "claims.csv")
    (problem,) = (one for one in made if one.key == key)
    assert problem.line == line
    assert message in problem.message
    assert problem.nearest == nearest
    if key == "kind" and "kind of" in message:
        assert problem.allowed == ALLOWED_KINDS


@pytest.mark.parametrize(
    "wrong",
    [
        (",,1926,,,,,\n", ",,1926.5,,,,,\n", 10, "not_after", "EDTF"),
        ("joint,dowelled,,,,,6,", "joint,dowelled,,,,,six,", 12, "shorter_than",
         "a number is expected here"),
        ("joint,dowelled,,,,,6,", "joint,dowelled,,,,,,", 12, "shorter_than",
         "this key is missing"),
        ("joint,dowelled,,,,,6,", ",dowelled,,,,,6,", 12, "feature", "this key is missing"),
        ("1927,0.6,", "1927,1.6,", 14, "at_least", "at most 1"),
        ("joint,screwed,,,,,,1927", "joint,,,,,,,1927", 14, "", "a name has 1 to 60"),
        ("joint,screwed,,,,,,1927", ",screwed,,,,,,1927", 14, "state", "this key is missing"),
        ("untouched,,,,original,E-1,all,,", "untouched,,,,original,E-1,all,joint,", 6, "feature",
         "this key is not known here"),
    ],
)  # fmt: skip
def test_cells_that_are_wrong(problems, wrong):
    old, new, line, column, message = wrong
    problem = problems(changed(SHEET, old, new), "claims.csv")[0]
    assert problem.line == line
    assert column in problem.key
    assert message in problem.message


def test_every_row_of_an_unknown_kind_is_located(problems):
    made = problems(SHEET.replace("first_use", "firstuse"), "claims.csv")
    assert [problem.line for problem in made] == [8, 11]
    assert {problem.found for problem in made} == {"'firstuse'"}


# Spoiled files


@pytest.fixture(scope="module")
def drawn(small):
    return Production(small, prior_draws(small).thinned(16))


@pytest.fixture(scope="module")
def used_or_refused(folder, small, drawn):
    """Write the file, use it; whatever is refused is located, and nothing else is written."""

    def used_or_refused(content, name):
        file = folder / name
        file.write_bytes(content)
        before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
        try:
            use(manuscript_of(read_claims(file), small), drawn)
        except InputError as refusal:
            own = [problem for problem in refusal.problems if problem.file == str(file)]
            others = [problem for problem in refusal.problems if problem.file != str(file)]
            if own:
                check_problems(own, str(file), content)
            for problem in others:
                assert problem.file.startswith((str(folder), "/"))
                assert problem.message.strip() == problem.message != ""
            return False
        finally:
            assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before
        return True

    return used_or_refused


def use(manuscript, drawn):
    """Weigh every claim with few draws, which are the same for all files."""
    evidence = Evidence(manuscript, drawn.draws)
    evidence.__dict__["judged"] = drawn
    for claim in manuscript.claims.claims:
        made = weighed(claim, evidence)
        assert 0 <= made.prior.value <= 1
        assert 0 <= made.posterior.value <= 1
        assert made.factor.value > 0
        assert rewording(made, manuscript.maker.period.first)


def test_the_unspoiled_claims_are_used(used_or_refused):
    assert used_or_refused(CLAIMS.encode(), "spoiled.yaml")
    assert used_or_refused(SHEET.encode(), "spoiled.csv")


@pytest.mark.parametrize("block", range(10))
def test_spoiled_structure_of_claims(block, folder, used_or_refused):
    rng = random.Random(f"claims {block}")
    (folder / "claims.yaml").write_text(CLAIMS, "utf-8")
    data = read_yaml(folder / "claims.yaml").data
    made = [
        used_or_refused(written(spoiled_structure(data, rng)), "spoiled.yaml") for _ in range(30)
    ]
    assert {True, False} == set(made)


@pytest.mark.parametrize("block", range(10))
def test_spoiled_text_of_claims(block, used_or_refused):
    rng = random.Random(f"claims text {block}")
    for _ in range(15):
        used_or_refused(spoiled_text(CLAIMS.encode(), rng), "spoiled.yaml")


@pytest.mark.parametrize("block", range(10))
def test_spoiled_text_of_a_sheet(block, used_or_refused):
    rng = random.Random(f"claims sheet {block}")
    for _ in range(15):
        used_or_refused(spoiled_text(SHEET.encode(), rng), "spoiled.csv")


@pytest.mark.parametrize("block", range(10))
def test_spoiled_cells_of_a_sheet(block, used_or_refused):
    """Cells change places, or take words from elsewhere in the sheet."""
    rng = random.Random(f"claims cells {block}")
    head = SHEET.splitlines(keepends=True)[:3]
    rows = list(csv.reader(SHEET.splitlines()[3:]))
    words = [cell for row in rows for cell in row if cell] + ["", "nan", "1e999", "é", "all | all"]
    for _ in range(15):
        made = [row[:] for row in rows]
        for _ in range(rng.choice([1, 1, 2, 3])):
            row = rng.choice([row for row in made if row])
            row[rng.randrange(len(row))] = rng.choice(words)
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(made)
        used_or_refused(("".join(head) + text.getvalue()).encode(), "spoiled.csv")


@pytest.mark.parametrize("content", WHOLE.values(), ids=WHOLE.keys())
@pytest.mark.parametrize("name", ["spoiled.yaml", "spoiled.csv"])
def test_files_that_are_no_claims_are_refused(content, name, used_or_refused):
    assert not used_or_refused(content, name)


# Kinds that have another name now, and files without claims


def test_kinds_that_have_another_name_now_are_told_by_it(problems):
    """Each at its own place, beside everything else that is wrong."""
    text = changed(CLAIMS, "says: {older:", "says: {before:")
    text = changed(text, "      changed_first:", "      order:")
    text = changed(text, "apart: {instr", "appart: {instr")
    text = changed(text, "      - built: {instrument: E-1, within: 1925}", "      - before: {}")
    told = [(p.line, p.key, p.message) for p in problems(text)]
    assert told == [
        (line_of(text, "appart"), "claims[4].says.appart", "this key is not known here"),
        (line_of(text, "{before"), "claims[5].says.before", "this key is now called older"),
        (
            line_of(text, "      order:"),
            "claims[9].says.order",
            "this key is now called changed_first",
        ),
        (line_of(text, "- before"), "claims[17].all_of[1].before", "this key is now called older"),
    ]


def test_kinds_that_a_sheet_calls_by_an_old_name_are_told_by_the_new_one(problems):
    rows = "# maker: small\nclaim,kind,instrument\nA,before,E-1\nB,order,\n"
    told = [(p.line, p.key, p.message, p.nearest) for p in problems(rows, "claims.csv")]
    assert told == [
        (3, "kind", "this kind is now called older, and is written in YAML", ""),
        (4, "kind", "this kind is now called changed_first, and is written in YAML", ""),
    ]


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("# maker: small\n\nclaim,kind\n", 3, "there are no claims below the names"),
        ("maker: small\nclaims: []\n", 2, "at least 1 item is expected here"),
        ("maker: small\nclaims:\n", 2, "a list is expected here"),
    ],
)
def test_a_file_without_claims_says_so(folder, problems, text, line, message):
    name = "none.csv" if "kind" in text else "none.yaml"
    (problem,) = problems(text, name)
    assert problem.line == line
    assert problem.message.startswith(message)
    assert kind_of(folder / name) == "claims"
    with pytest.raises(InputError, match=message):
        understood(folder / name)


@pytest.mark.parametrize(("name", "what"), [("none.yaml", "no such file"), ("..", "a folder")])
def test_an_examination_that_is_not_there_is_located_in_the_claims_file(tmp_path, name, what):
    (tmp_path / "claims.yaml").write_text(CLAIMS.replace("E-1.yaml", name), "utf-8")
    (tmp_path / "small.yaml").write_text(SMALL_MAKER, "utf-8")
    claims, maker = read_claims(tmp_path / "claims.yaml"), read_maker(tmp_path / "small.yaml")
    with pytest.raises(InputError) as refused:
        manuscript_of(claims, maker)
    problem = refused.value.problems[0]
    assert (problem.line, problem.key) == (5, "examinations[1]")
    assert what in problem.message


def test_more_between_instruments_than_can_be_summed_over_is_refused(folder, read, problems):
    """Over 69 months four that are each tied to each other are, and a fifth to two of them."""
    names = [f"T-{k}" for k in range(5)]
    for name in names:
        (folder / f"{name}.yaml").write_text(SMALL_EXAMINATION.replace("E-1", name), "utf-8")
    listed = ", ".join(f"{name}.yaml" for name in names)
    head = f"maker: small\nexaminations: [{listed}]\nclaims:\n  - claim: tied\n    all_of:\n"
    row = "      - {older: {instruments: [T-0, T-1, T-2, T-3, T-4]}}\n"
    across = "      - {older: {instruments: [T-0, T-2, T-4, T-1, T-3]}}\n"
    ends = "      - {apart: {instruments: [T-0, T-4], at_most: 9}}\n"
    last = "      - {apart: {instruments: [T-0, T-3], at_most: 9}}\n"
    assert len(read(head + row + across).examinations) == 5
    (problem,) = problems(head + row + across + ends + last)
    assert (problem.line, problem.key) == (5, "claims[1].all_of")
    assert "too much is claimed together" in problem.message
