"""Records against what Linked Art publishes: its rules, its example and its vocabulary.

Linked Art API 1.0, https://linked.art/api/1.0/; what was read, at which commits, and how the rules
in ``data/linked_art/object.schema.json`` differ from the published schema is in the README beside
that file.
"""

import copy
import datetime as dt
import json
import os
import subprocess
import sys
from pathlib import Path

import cromulent
import jsonschema
import pytest
from cromulent.model import factory
from pyld import jsonld

from dating import estimate, read_examination, read_maker
from dating.edtf import parse_edtf
from dating.notes.linked_art import Statement, linked_art, linked_art_parts

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((Path(__file__).parent / "data/linked_art/object.schema.json").read_text())
CONTEXT = "https://linked.art/ns/v1/linked-art.json"
NAMES = [f"M-{number:03d}" for number in range(1, 11)]
WHOLE, SWAPPED, SEVERAL = "M-001", "M-003", "M-010"


@pytest.fixture(scope="module")
def estimates():
    maker = read_maker(ROOT / "priors/marrowby.yaml")
    folder = ROOT / "demo_data/examinations"
    return {name: estimate(maker, read_examination(folder / f"{name}.yaml")) for name in NAMES}


@pytest.fixture(autouse=True)
def strict(monkeypatch):
    """Let cromulent raise whatever its profile of the model warns of."""
    monkeypatch.setattr(factory, "debug_level", "error_on_warning")


def problems(record):
    validator = jsonschema.Draft7Validator(SCHEMA)
    return [f"{e.json_path}: {e.message}" for e in validator.iter_errors(record)]


def span_of(record):
    return record["produced_by"]["timespan"]


# The published rules


def test_the_rules_are_a_schema():
    jsonschema.Draft7Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("level", [0.5, 0.9, 0.95])
def test_records_keep_the_published_rules(estimates, name, level):
    made = estimates[name]
    records = [linked_art(made, level=level), *linked_art_parts(made, level=level)]
    assert [problems(record) for record in records] == [[]] * len(records)


def spoil(record, path, value):
    spoiled = copy.deepcopy(record)
    *way, last = path
    place = spoiled
    for key in way:
        place = place[key]
    if value is None:
        del place[last]
    else:
        place[last] = value
    return spoiled


SPAN = ("produced_by", "timespan")


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ((*SPAN, "begin_of_the_begin"), "1931-04"),
        ((*SPAN, "begin_of_the_begin"), 1931),
        ((*SPAN, "end_of_the_end"), "1931-04-30T23:59:59"),
        ((*SPAN, "type"), "Timespan"),
        ((*SPAN, "type"), None),
        ((*SPAN, "earliest"), "1931-04-01T00:00:00Z"),
        ((*SPAN, "identified_by", 0, "content"), None),
        (("produced_by", "timespan"), []),
        (("produced_by", "carried_out_by", 0, "id"), None),
        (("produced_by", "carried_out_by", 0, "type"), "Maker"),
        (("produced_by", "date"), "1931"),
        (("produced_by",), []),
        (("classified_as", 1, "notation"), "321.322-6"),
        (("referred_to_by", 0, "content"), None),
        (("id",), "M-003"),
        (("_label",), None),
        (("@context",), "https://example.org/"),
        (("part", 0, "produced_by"), {"type": "Production"}),
        (("part", 0, "id"), "https://example.org/part"),
        (("level",), 0.9),
    ],
)
def test_the_rules_refuse_broken_records(estimates, path, value):
    record = linked_art(estimates[SWAPPED], level=0.9)
    assert problems(record) == []
    assert problems(spoil(record, path, value)) != []


# The published example and the published vocabulary


def test_a_time_span_has_the_form_of_the_published_example(estimates):
    # The production on the page of the physical object, with its dates of 1503 to 1506. The number
    # 300404669 of the Art & Architecture Thesaurus (display title) is cromulent's DisplayName.
    example = {
        "type": "TimeSpan",
        "identified_by": [
            {
                "type": "Name",
                "classified_as": [
                    {
                        "id": "http://vocab.getty.edu/aat/300404669",
                        "type": "Type",
                        "_label": "Display Title",
                    }
                ],
                "content": "1503-1506",
            }
        ],
        "begin_of_the_begin": "1503-01-01T00:00:00Z",
        "end_of_the_end": "1506-12-31T23:59:59Z",
    }
    record = linked_art(estimates[WHOLE], level=0.9)
    span = copy.deepcopy(span_of(record))
    assert span.pop("_label") == "90 % set"
    assert span["identified_by"][0]["classified_as"] == example["identified_by"][0]["classified_as"]
    assert forms(span) == forms(example)
    assert span["begin_of_the_begin"][7:] == example["begin_of_the_begin"][7:]
    assert span["end_of_the_end"][10:] == example["end_of_the_end"][10:]
    actor = record["produced_by"]["carried_out_by"]
    assert [set(reference) for reference in actor] == [{"id", "type", "_label"}]
    assert actor[0]["type"] == "Group"


def forms(value):
    if isinstance(value, dict):
        return {key: forms(part) for key, part in value.items()}
    return [forms(part) for part in value] if isinstance(value, list) else type(value)


def expanded(record):
    """Expand the names with the context that cromulent ships; nothing is fetched."""
    file = Path(cromulent.__file__).parent / "data" / "linked-art.json"
    context = json.loads(file.read_text(encoding="utf-8"))

    def load(url, options=None):
        assert url == CONTEXT
        return {"contextUrl": None, "documentUrl": url, "document": context}

    return jsonld.expand(record, {"documentLoader": load})


CRM = "http://www.cidoc-crm.org/cidoc-crm/"


@pytest.mark.parametrize("name", [WHOLE, SWAPPED, SEVERAL])
def test_every_name_is_one_of_the_cidoc_crm(estimates, name):
    made = estimates[name]
    for record in [linked_art(made, level=0.9), *linked_art_parts(made, level=0.9)]:
        (top,) = expanded(record)
        assert top["@type"] == [CRM + "E22_Human-Made_Object"]
        (span,) = top[CRM + "P108i_was_produced_by"][0][CRM + "P4_has_time-span"]
        begin, end = (
            span[CRM + key][0] for key in ("P82a_begin_of_the_begin", "P82b_end_of_the_end")
        )
        assert begin["@value"] == span_of(record)["begin_of_the_begin"]
        assert end["@type"] == "http://www.w3.org/2001/XMLSchema#dateTime"
        assert counted(top) == counted(record) - 1  # nothing is dropped but the context


def counted(value):
    """Count the names of properties; expansion wraps values but must not lose any."""
    if isinstance(value, list):
        return sum(counted(part) for part in value)
    if not isinstance(value, dict) or "@value" in value:
        return 0
    return sum(1 + counted(part) for part in value.values())


def test_expansion_counts_what_it_loses(estimates):
    record = linked_art(estimates[WHOLE], level=0.9)
    record["produced_by"]["timespan"]["earliest"] = "1931"
    assert counted(expanded(record)) == counted(record) - 2


def test_cromulent_refuses_what_its_profile_does_not_allow():
    span = cromulent.model.TimeSpan(ident="")
    with pytest.raises(cromulent.model.DataError):
        span.earliest = "1931-01-01T00:00:00Z"
    with pytest.raises(cromulent.model.DataError):
        cromulent.model.Production(ident="").timespan = cromulent.model.Name(ident="")


# What a record says


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("level", [0.5, 0.9])
def test_the_bounds_are_the_ends_of_the_set(estimates, name, level):
    months = estimates[name].highest_density(level)
    span = span_of(linked_art(estimates[name], level=level))
    second = dt.timedelta(seconds=1)
    first = dt.datetime.fromisoformat(span["begin_of_the_begin"])
    after = dt.datetime.fromisoformat(span["end_of_the_end"]) + second
    assert first.tzinfo == after.tzinfo == dt.UTC
    assert (first.day, first.hour, after.day, after.hour) == (1, 0, 1, 0)
    assert first.year * 12 + first.month - 1 == months.stretches[0].first
    assert after.year * 12 + after.month - 1 == months.stretches[-1].last + 1
    assert not {"end_of_the_begin", "begin_of_the_end"} & set(span)
    named = parse_edtf(span["identified_by"][0]["content"])
    spelt = [month for a, b in named.month_stretches for month in range(a, b + 1)]
    assert spelt == [month for s in months.stretches for month in range(s.first, s.last + 1)]


def test_several_stretches_are_not_passed_off_as_one(estimates):
    several, one = (linked_art(estimates[name], level=0.9) for name in (SEVERAL, WHOLE))
    months = estimates[SEVERAL].highest_density(0.9)
    assert len(months.stretches) > 1
    (said,) = several["produced_by"]["referred_to_by"]
    assert said["content"].startswith(f"The set is not one stretch: {months}.")
    assert "referred_to_by" not in one["produced_by"]


def test_a_swapped_part_has_its_own_date(estimates):
    made = estimates[SWAPPED]
    record = linked_art(made, level=0.9)
    (own,) = linked_art_parts(made, level=0.9)
    assert [part["_label"] for part in record["part"]] == ["neck"]
    assert "from another instrument" in record["part"][0]["referred_to_by"][0]["content"]
    assert own["id"] == record["id"] + "/part/neck"
    assert own["part_of"] == [{key: record[key] for key in ("id", "type", "_label")}]
    assert span_of(own)["begin_of_the_begin"] > span_of(record)["end_of_the_end"]
    assert linked_art_parts(estimates[WHOLE], level=0.9) == ()
    assert "part" not in linked_art(estimates[WHOLE], level=0.9)


def contents(record):
    return [text["content"] for text in record["referred_to_by"]]


def test_a_date_is_an_opinion_with_a_probability_and_the_demo_is_invented(estimates):
    record = linked_art(estimates[WHOLE], level=0.9)
    date, opinion, invented = contents(record)
    assert str(estimates[WHOLE].highest_density(0.9)) in date
    assert "90 %" in date
    assert opinion.startswith("An opinion with a probability, not a certificate")
    assert invented.startswith("Invented")


def test_statements_of_the_caller_stand_in_their_language(estimates):
    said = [
        Statement("Gebaut 1931.", "de-AT"),
        Statement("Une opinion.", "fr"),
        Statement("x", "xx"),
    ]
    record = linked_art(estimates[WHOLE], level=0.9, statements=said)
    assert contents(record)[:3] == ["Gebaut 1931.", "Une opinion.", "x"]
    languages = [text.get("language") for text in record["referred_to_by"]]
    assert [language and language[0]["_label"] for language in languages[:3]] == [
        "German",
        "French",
        None,
    ]
    for text in record["referred_to_by"]:
        (kind,) = text["classified_as"]
        assert kind["classified_as"][0]["_label"] == "Brief Text"
    assert problems(record) == []


def test_the_class_number_stands_only_where_the_maker_file_has_one(estimates):
    made = estimates[WHOLE]
    _, kind = linked_art(made, level=0.9)["classified_as"]
    assert kind["identified_by"] == [{"type": "Identifier", "content": "321.322-6"}]
    bare = copy.copy(made)
    maker = made.maker.model_copy(update={"hornbostel_sachs": None})
    object.__setattr__(bare, "maker", maker)
    assert len(linked_art(bare, level=0.9)["classified_as"]) == 1


def test_identities_come_from_names_and_the_base(estimates):
    made = estimates[WHOLE]
    record = linked_art(made, level=0.9, identifier="lot 7/a", base="https://museum.example/x/")
    assert record["id"] == "https://museum.example/x/object/lot%207%2Fa"
    assert [name["content"] for name in record["identified_by"]][1] == "lot 7/a"
    assert problems(record) == []


@pytest.mark.parametrize("base", ["", "museum.example/", "https://museum.example", "urn:x:"])
def test_a_base_that_is_no_address_is_refused(estimates, base):
    with pytest.raises(ValueError, match="base"):
        linked_art(estimates[WHOLE], level=0.9, base=base)


def test_a_level_that_is_none_is_refused(estimates):
    with pytest.raises(ValueError, match="level"):
        linked_art(estimates[WHOLE], level=1.0)


def test_the_same_estimate_gives_the_same_bytes(estimates):
    def write():
        made = estimates[SWAPPED]
        return json.dumps([linked_art(made, level=0.9), *linked_art_parts(made, level=0.9)])

    once = write()
    assert write() == once
    elsewhere = subprocess.run(
        [sys.executable, "-c", ELSEWHERE],
        cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": "7", "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert elsewhere.stdout == once


ELSEWHERE = """
import json
from dating import estimate, read_examination, read_maker
from dating.notes.linked_art import linked_art, linked_art_parts
maker = read_maker("priors/marrowby.yaml")
made = estimate(maker, read_examination("demo_data/examinations/M-003.yaml"))
print(json.dumps([linked_art(made, level=0.9), *linked_art_parts(made, level=0.9)]), end="")
"""
