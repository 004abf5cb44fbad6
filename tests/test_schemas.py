"""JSON Schemas of the files: valid by the published dialect, and of one mind with the reader.

Source: JSON Schema draft 2020-12, https://json-schema.org/draft/2020-12, as the library jsonschema
has it.
"""

import copy
import json
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from dating.cli.main import main
from dating.reading import InputError, read_yaml
from dating.schemas import MODELS, schema_of
from dating.validation import validate

FILES = [
    *((kind, path) for kind, path in [("maker", "priors/marrowby.yaml")]),
    *(("examination", str(path)) for path in sorted(Path("demo_data/examinations").glob("*.yaml"))),
    ("claims", "demo_data/marrowby_claims.yaml"),
    ("group", "demo_data/marrowby_group.yaml"),
]
FORMS = {
    "maker": [
        (("period",), [1923], False),
        (("draft",), "sometimes", False),
        (("sources",), {"a": {"title": "A ledger"}}, True),
        (("sources",), {"a": {}}, False),
        (("materials",), ["ivory"], True),
        (("materials",), ["stone"], False),
        (("events",), {"move": {"what": "a move", "when": "1931-02"}}, True),
        (("events",), {"move": {"what": "a move", "when": ["1930", "1931-02", "1932"]}}, False),
        (
            ("events",),
            {"move": {"what": "a move", "when": ["1930-01", "1931-02", "1932-01"]}},
            True,
        ),
        (("events",), {"move": {"what": "a move", "when": {"likely": "1931-02"}}}, False),
        (("events",), {"move": {"what": "a move", "when": True}}, False),
        (("coverage",), 0.9, False),
    ],
    "examination": [
        (("seen",), {"label": "plain"}, True),
        (("seen",), {"label": {"state": "plain", "sure": 0.8}}, True),
        (("seen",), {"label": {"one_of": ["plain", "printed"]}}, True),
        (("seen",), {"label": {"state": "plain", "sure": 1.8}}, False),
        (("seen",), {"label": ["plain"]}, False),
        (("seen",), {"label": {"colour": "plain"}}, False),
        (("measured",), {"neck-depth": 21.4}, True),
        (("measured",), {"neck-depth": "deep"}, False),
        (("measured",), {"neck-depth": "not examined"}, True),
        (("marks",), {"heel-pencil": ["1931-02", "1931-03"]}, True),
        (("documents",), [{"what": "a bill", "not_after": 1934}], True),
        (("documents",), [{"not_after": 1934}], False),
        (("instrument",), {"name": "x"}, False),
    ],
    "claims": [
        (("claims",), [], False),
        (("claims",), [{"claim": "a", "says": {"older": {"instruments": ["x", "y"]}}}], True),
        (("claims",), [{"claim": "a", "says": {"older": {"instruments": ["x"]}}}], False),
        (("claims",), [{"claim": "a", "says": {"odder": {"instruments": ["x", "y"]}}}], False),
    ],
    "group": [
        (("known",), [], False),
        (("known",), [{"older": {"instruments": ["x", "y"]}, "source": "a letter"}], True),
        (("known",), [{"older": {"instruments": ["x", "y"]}}], False),
        (("known",), [{"older": {"instruments": ["x", "y", "z"]}, "source": "a"}], False),
        (("known",), [{"apart": {"instruments": ["x", "y"]}, "source": "a"}], False),
        (
            ("known",),
            [{"same_batch": {"instruments": ["x", 2], "within": 2}, "source": 1934, "trust": 1}],
            True,
        ),
        (
            ("known",),
            [{"photographed": {"instruments": ["x", "y"], "date": 1934}, "source": "a"}],
            True,
        ),
        (
            ("known",),
            [{"consecutive": {"instruments": ["x", "y"], "within": -1}, "source": "a"}],
            False,
        ),
        (
            ("known",),
            [{"older": {"instruments": ["x", "y"]}, "source": "a", "trust": 0}],
            False,
        ),
    ],
}


def accepted(kind, data):
    return jsonschema.Draft202012Validator(schema_of(kind)).is_valid(data)


def understood(kind, data, tmp_path):
    file = tmp_path / "file.yaml"
    file.write_text(json.dumps(data, default=str), encoding="utf-8")
    try:
        validate(read_yaml(file), MODELS[kind])
    except InputError:
        return False
    return True


@pytest.mark.parametrize("kind", MODELS)
def test_schemas_are_schemas(kind):
    jsonschema.Draft202012Validator.check_schema(schema_of(kind))


@pytest.mark.parametrize(("kind", "path"), FILES)
def test_files_of_the_demo_are_accepted(kind, path):
    assert accepted(kind, read_yaml(Path(path)).data)


@pytest.mark.parametrize(
    ("kind", "key", "value", "valid"),
    [(kind, *form) for kind, forms in FORMS.items() for form in forms],
)
def test_schema_and_reader_agree(kind, key, value, valid, tmp_path):
    """A maker's own keys in place of the demo's, of which some are of a wrong form."""
    data = copy.deepcopy(read_yaml(Path(dict(FILES)[kind])).data)
    if kind == "maker" and key == ("events",):
        data["components"] = {"body": {}}
        data.pop("variants", None)
    data[key[0]] = value
    assert understood(kind, data, tmp_path) == valid
    if value != {"move": {"what": "a move", "when": ["1930", "1931-02", "1932"]}}:  # a year
        assert accepted(kind, data) == valid


@pytest.mark.parametrize("kind", MODELS)
def test_every_key_is_described(kind):
    schema = schema_of(kind)

    def described(value):
        while "$ref" in value and "description" not in value:
            value = schema["$defs"][value["$ref"].rsplit("/", 1)[-1]]
        each = value.get("anyOf", ())
        return bool(value.get("description")) or any(described(one) for one in each)

    forms = [schema, *schema["$defs"].values()]
    forms += [one for form in forms for one in form.get("anyOf", ())]
    keys = [(f, k) for f in forms for k in f.get("properties", {})]
    assert len(keys) > 10
    assert not [
        (form.get("title"), key) for form, key in keys if not described(form["properties"][key])
    ]


@pytest.mark.parametrize("kind", MODELS)
def test_the_command_lists_every_key_and_gives_the_schema(kind):
    text = CliRunner().invoke(main, ["keys", kind])
    assert text.exit_code == 0
    for field, information in MODELS[kind].model_fields.items():
        assert f"\n{information.alias or field}" in text.output
    given = CliRunner().invoke(main, ["keys", kind, "--as", "json"])
    assert json.loads(given.output) == schema_of(kind)


def test_an_unknown_kind_is_named(tmp_path):
    wrong = CliRunner().invoke(main, ["keys", "makers"])
    assert wrong.exit_code == 2
    assert "maker" in wrong.output
