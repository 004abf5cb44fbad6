"""An examination's file edited: it reads back as edited, and what is not edited stays as it is."""

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dating.bench.examination_text import amended_text, new_text, trimmed
from dating.bench.examination_yaml import plain_data
from dating.examination import NOT_EXAMINED, Examination
from dating.files import read_examination
from dating.reading import InputError
from dating.standard_input import FileContent
from dating.yaml_text import merged

SLOW = settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
WORDS = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\x00\r"), min_size=1, max_size=12
).filter(lambda text: text.strip())
PLAIN = st.sampled_from(["bone", "two bars", "O'Brien", "ivory", "1934", "true", "- x", "a: b"])
STATES = PLAIN | st.text("abcdefgh -", min_size=1, max_size=8).filter(str.strip).map(str.strip)
SIGHTS = st.one_of(
    STATES,
    st.builds(lambda state, sure: {"state": state, "sure": sure}, STATES, st.floats(0, 1)),
    st.builds(lambda states: {"one_of": states}, st.lists(STATES, min_size=1, max_size=3)),
    st.builds(lambda other, note: {"other": other, "note": note}, WORDS, WORDS),
)
NUMBERS = st.integers(-99, 99) | st.floats(-99, 99)
READINGS = NUMBERS | st.builds(lambda value, note: {"value": value, "note": note}, NUMBERS, WORDS)
PAPERS = st.builds(
    lambda what, bound, further: {"what": what, "not_after": bound, **further},
    WORDS,
    st.sampled_from([1934, "1934-06", "1934-06-12", "193X"]),
    st.fixed_dictionaries({}, optional={"trust": st.floats(0, 0.9), "source": WORDS}),
)
FEATURES = st.sampled_from(["ring", "nut", "heel-joint", "no. 2", "12", "é: y"])
GROUPS = {"seen": SIGHTS, "marks": st.sampled_from(["1931-02", "99-7114"]), "measured": READINGS}
SINGLE = {"by": WORDS, "note": WORDS, "examined": st.just("2026-05-04"), "variant": SIGHTS}


@st.composite
def examinations(draw):
    """The data of an examination, by key."""
    data = {"instrument": draw(WORDS), "maker": "marrowby"}
    data |= draw(st.fixed_dictionaries({}, optional=SINGLE))
    for group, answers in GROUPS.items():
        data |= (
            {group: said} if (said := draw(st.dictionaries(FEATURES, answers, max_size=4))) else {}
        )
    papers = draw(st.lists(PAPERS, max_size=3))
    return data | ({"documents": papers} if papers else {})


@st.composite
def edits_of(draw, data):
    """The same data with some entries changed, taken out and added."""
    other, edited = draw(examinations()), dict(data)
    for key in draw(st.sets(st.sampled_from(sorted({*data, *other} - {"maker", "documents"})))):
        if key in GROUPS:
            here, there = data.get(key, {}), other.get(key, {})
            chosen = {k: v for k, v in {**here, **there}.items() if draw(st.booleans())}
            edited[key] = {**{k: v for k, v in here.items() if k not in there}, **chosen}
        elif key in other:
            edited[key] = other[key]
        elif key != "instrument":
            del edited[key]
    papers = list(data.get("documents", ()))
    for place in reversed(range(len(papers))):
        change = draw(st.sampled_from(["stays", "stays", "goes", "trust", "source"]))
        if change == "goes":
            del papers[place]
        elif change == "trust":
            papers[place] = papers[place] | {"trust": draw(st.floats(0, 0.9))}
        elif change == "source":
            papers[place] = {k: v for k, v in papers[place].items() if k != "source"}
    edited["documents"] = papers + draw(st.lists(PAPERS, max_size=2))
    return {key: value for key, value in edited.items() if value or key in {"instrument", "maker"}}


def quoted(text):
    return yaml.safe_dump(text, default_style='"', width=10**9).strip()


def names(data):
    return ((quoted(name), each) for name, each in data.items())


@st.composite
def files(draw, data):  # noqa: PLR0912 (one branch a style)
    """A file of the data in some style: its lines, each with the entry that it states."""
    remarks = iter(range(10_000))

    def written(value):
        if isinstance(value, dict):
            return "{" + ", ".join(f"{key}: {written(each)}" for key, each in names(value)) + "}"
        if isinstance(value, list):
            return "[" + ", ".join(map(written, value)) + "]"
        if value in ["bone", "ivory"] and draw(st.booleans()):
            return draw(st.sampled_from([value, f"'{value}'"]))
        return quoted(value) if isinstance(value, str) else repr(value)

    def line(entry, text, within=None):
        above = [(within, f"{text[: len(text) - len(text.lstrip())]}# {next(remarks)}")]
        behind = f"  # {next(remarks)}" if draw(st.booleans()) else ""
        return [*(above if draw(st.booleans()) else ()), (entry, text + behind)]

    lines = line(None, "# about this file")
    for key in draw(st.permutations(sorted(data))):
        value = data[key]
        if key in GROUPS and draw(st.booleans()):
            lines += line((key,), f"{key}: {written(value)}")
        elif key in GROUPS:
            lines += line(None, f"{key}:")
            for name, answer in value.items():
                if isinstance(answer, dict) and draw(st.booleans()):
                    lines += line((key, name), f"    {quoted(name)}:")
                    for inner, each in answer.items():
                        lines += line((key, name), f"       {inner}: {written(each)}", (key, name))
                else:
                    lines += line((key, name), f"    {quoted(name)}: {written(answer)}")
            lines += line(None, "    never seen: not examined") if draw(st.booleans()) else []
        elif key == "documents":
            lines += line(("documents",), "documents:")
            for place, paper in enumerate(value):
                if draw(st.booleans()):
                    head = "- "
                    for inner, each in paper.items():
                        lines += line(
                            (key, place), f"  {head}{inner}: {written(each)}", (key, place)
                        )
                        head = "  "
                else:
                    lines += line((key, place), f"  -  {written(paper)}", (key,))
        else:
            lines += line((key,), f"{key}: {written(value)}")
    return lines, draw(st.sampled_from(["\n", "\n", "\r\n"])), draw(st.sampled_from(["", "\ufeff"]))


def examination_of(data):
    return Examination.model_validate(data)


def read_again(text):
    return read_examination(FileContent("examination.yaml", text.encode("utf-8")))


def is_edited(entry, data, edited):
    """Say whether the entry of a line is one that the edit changes."""
    key, *inner = entry
    old, new = data.get(key), edited.get(key)
    if key == "documents":
        return not new if not inner else trimmed(old[inner[0]]) not in trimmed(new or [])
    if inner:
        return trimmed(old[inner[0]]) != trimmed((new or {}).get(inner[0]))
    return trimmed(old) != trimmed(new)


@SLOW
@given(st.data())
def test_an_edited_file_reads_as_edited_and_other_lines_stay_to_the_byte(drawing):
    data = drawing.draw(examinations())
    lines, line_end, mark = drawing.draw(files(data))
    edited = drawing.draw(edits_of(data))
    text = mark + line_end.join(words for _, words in lines) + line_end
    was, now = read_again(text), examination_of(edited)
    assert trimmed(plain_data(was)) == trimmed(plain_data(examination_of(data)))
    amended = amended_text(text, was, now)
    assert trimmed(plain_data(read_again(amended))) == trimmed(plain_data(now))
    assert (amended == text) == (trimmed(plain_data(was)) == trimmed(plain_data(now)))
    assert amended.startswith(mark)
    papers = [trimmed(each) for each in plain_data(examination_of(data)).get("documents", [])]
    later = [trimmed(each) for each in plain_data(now).get("documents", [])]
    moved = [each for each in papers if each in later] != later
    left = iter(amended.removeprefix(mark).split(line_end))
    for entry, words in lines:
        shifted = entry is not None and entry[0] == "documents" and len(entry) > 1 and moved
        if entry is None or not (is_edited(entry, data, edited) or shifted):
            assert words in left, (words, amended)
    assert amended.count("\r") == (amended.count("\n") if line_end == "\r\n" else 0)


@SLOW
@given(examinations())
def test_a_new_file_reads_as_it_was_meant(data):
    said = examination_of(data)
    assert plain_data(read_again(new_text(said))) == plain_data(said)


@SLOW
@given(st.data())
def test_an_edit_taken_back_gives_the_same_examination(drawing):
    first, second = (examination_of(drawing.draw(examinations())) for _ in range(2))
    text = new_text(first)
    there = amended_text(text, first, second)
    back = amended_text(there, read_again(there), first)
    assert trimmed(plain_data(read_again(back))) == trimmed(plain_data(first))


def test_comments_quotes_order_and_line_ends_stay():
    text = (
        "# c0\r\ninstrument: 'M-1'  # label\r\nmaker: marrowby\r\nseen:\r\n  ring:\r\n"
        '    state: inlaid  # lamp\r\n    sure: 0.8\r\n  nut: bone # hand\r\nby: "me"'
    )
    was = read_again(text)
    seen = {"ring": {"state": "inlaid"}, "nut": "ivory"}
    now = was.model_copy(update={"seen": examination_of(plain_data(was) | {"seen": seen}).seen})
    amended = amended_text(text, was, now)
    assert amended == text.replace("nut: bone", "nut: ivory").replace("    sure: 0.8\r\n", "")


def test_an_answer_taken_back_is_not_examined_and_other_keys_go():
    text = "instrument: M\nmaker: m\nby: me\nseen: {ring: inlaid}\nmarks: {stamp: 1931-02}\n"
    was = read_again(text)
    now = examination_of({"instrument": "M", "maker": "m"})
    amended = amended_text(text, was, now)
    assert amended == (
        f"instrument: M\nmaker: m\nseen: {{ring: {NOT_EXAMINED}}}\n"
        f"marks: {{stamp: {NOT_EXAMINED}}}\n"
    )


@pytest.mark.parametrize("nothing", ["seen: {}", "seen: {nut: not examined}", "seen: {nut: }"])
def test_a_group_that_says_nothing_is_filled(nothing):
    text = f"instrument: M\n{nothing}\nmaker: m\n"
    was = read_again(text)
    amended = amended_text(
        text, was, examination_of(plain_data(was) | {"seen": {"ring": "inlaid"}})
    )
    assert read_again(amended).seen["ring"].state == "inlaid"
    assert amended.splitlines()[::2] == text.splitlines()[::2]


def test_a_value_that_an_anchor_shares_is_not_rewritten():
    text = "instrument: M\nmaker: m\nseen: {ring: &a inlaid, nut: *a}\n"
    was = read_again(text)
    assert was.seen["nut"].state == "inlaid"
    further = amended_text(text, was, examination_of(plain_data(was) | {"by": "me"}))
    assert further == text.replace("maker: m\n", "maker: m\nby: me\n")
    other = examination_of(plain_data(was) | {"seen": {"ring": "inlaid", "nut": "bone"}})
    with pytest.raises(InputError, match="shares a value by an anchor"):
        amended_text(text, was, other)


def test_entries_in_braces_over_several_lines_keep_their_comments():
    text = "{a: 1, # one\n b: 2, # two\n c: {d: 3}}\n"
    before = {"a": 1, "b": 2, "c": {"d": 3}}
    assert merged(text, before, {"a": 1, "c": {"d": 4, "e": 5}}) == (
        "{a: 1, # one\n c: {d: 4, e: 5}}\n"
    )
