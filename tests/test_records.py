"""Records: each names its schema, which the command gives, and which refuses anything else.

Records that other tests have the commands write are held to their schemas as well (conftest).
"""

import copy
import json

import jsonschema
import pytest
from click.testing import CliRunner

import dating
from dating.cli.main import main
from dating.schemas import FILES, MODELS, RECORDS
from dating.words.record import as_record
from tests.inventing import invented
from tests.records import hold, kind_of_record


def run(*arguments):
    outcome = CliRunner().invoke(main, list(map(str, arguments)))
    assert outcome.exit_code == 0, outcome.output
    return json.loads(outcome.stdout)


@pytest.fixture(scope="module")
def record():
    return run("estimate", "demo_data/examinations/M-003.yaml", "--as", "json")


def test_every_record_has_a_name_and_a_version_of_its_own():
    names = [
        model.model_json_schema()["properties"]["schema"]["const"] for model in RECORDS.values()
    ]
    versions = dict.fromkeys(RECORDS, 1) | {"estimate-record": 2, "claims-record": 2}
    assert names == [
        f"instrument-dating/{kind.removesuffix('-record')}/{versions[kind]}" for kind in RECORDS
    ]
    assert [kind_of_record(name) for name in names] == list(RECORDS)
    assert {*FILES, *RECORDS} == set(MODELS)


def test_a_record_is_what_the_schema_that_the_command_gives_allows(record):
    assert record["schema"] == "instrument-dating/estimate/2"
    schema = run("keys", kind_of_record(record["schema"]), "--as", "json")
    jsonschema.Draft202012Validator(schema).validate(record)


def test_estimates_of_whatever_maker_are_such_records():
    held = 0
    for seed in range(60):
        try:
            made = dating.estimate(*invented(seed))
        except dating.InputError:  # what no month allows has no estimate
            continue
        hold(json.loads(json.dumps(as_record(made), allow_nan=False)))
        held += 1
    assert held >= 40


SPOILED = {
    "a key is missing": lambda r: r.pop("opinion"),
    "a key is one too many": lambda r: r.update(extra=1),
    "a key within is missing": lambda r: r["built"].pop("median"),
    "a probability is above one": lambda r: r["built"]["by_month"][0].update(probability=1.1),
    "a month is none": lambda r: r["built"].update(median="1930-13"),
    "a number is text": lambda r: r["evidence"][0].update(shift="1"),
    "a list is nothing": lambda r: r.update(evidence=None),
    "a word is no such word": lambda r: r["look_next"][0].update(invasive="a little"),
    "an operation is nothing": lambda r: r["plan"][0].update(operation=None),
    "another version": lambda r: r.update(schema="instrument-dating/estimate/1"),
}


@pytest.mark.parametrize("spoil", SPOILED.values(), ids=SPOILED)
def test_what_is_no_record_is_refused(record, spoil):
    spoiled = copy.deepcopy(record)
    spoil(spoiled)
    with pytest.raises((jsonschema.ValidationError, ValueError)):
        hold(spoiled)
