"""Files of all kinds that were spoiled: used, or refused with words; nothing else happens.

A small seeded part runs with the other tests, the 10,000 with the slow ones.
"""

import json
import math
import random

import pytest
import yaml

from tests.mutating import spoiled_structure, spoiled_text, written
from tests.use.commands import ROOT, contents, dating
from tests.use.slips import SLIPS
from tests.use.spoiling import spoil_learned, spoiled_sheet
from tests.use.works import CLAIMS, CLAIMS_SHEET, LYRE, LYRES, SALE, lyre_rows

GERMAN = (ROOT / "dating" / "notes" / "languages" / "de.yaml").read_text("utf-8")
EVERY = {"maker": 4, "examination": 2, "corpus": 6, "sale": 12, "claims": 10, "claims sheet": 10}
"""Of so many files one is also used for what it is for, which costs more than checking it."""
FEW = {
    "maker": 120,
    "examination": 120,
    "corpus": 90,
    "sale": 70,
    "claims": 80,
    "claims sheet": 60,
    "language": 30,
    "learned": 40,
}
MANY = {kind: 10_000 * few // sum(FEW.values()) + 20 for kind, few in FEW.items()}
PLAIN = {
    "maker": ("lyres.yaml", LYRES),
    "examination": ("L-1.yaml", LYRE),
    "corpus": ("corpus.csv", lyre_rows()),
    "sale": ("sale.csv", SALE),
    "claims": ("claims.yaml", CLAIMS),
    "claims sheet": ("claims.csv", CLAIMS_SHEET),
    "language": ("house.yaml", GERMAN),
}
USES = {
    "maker": ("estimate", "L-1.yaml", "--as", "json"),
    "examination": ("estimate", "L-1.yaml", "--as", "json"),
    "corpus": ("draft", "corpus.csv", "--name", "D", "--out", "new/drafted.yaml"),
    "sale": ("sale", "sale.csv", "--out", "new/sale", "--as", "none"),
    "claims": ("weigh", "claims.yaml", "--as", "json"),
    "claims sheet": ("weigh", "claims.csv", "--as", "json"),
    "language": ("note", "L-2.yaml", "--language", "house.yaml"),
}


def spoiled(kind: str, content: str, rng: random.Random) -> bytes:
    """Spoil a file of a kind: its structure and values, or its text and bytes."""
    if kind in {"corpus", "sale", "claims sheet"}:
        return spoiled_sheet(content.encode(), rng)
    if rng.random() < 0.3:
        return spoiled_text(content.encode(), rng)
    return written(spoiled_structure(yaml.safe_load(content), rng))


def no_nonsense(number: str) -> float:
    raise AssertionError(f"{number} in an answer")


def hold(answer, name: str) -> None:
    """Hold an answer: refused with words that name the file, or numbers that can be."""
    if answer.status:
        assert name in answer.words or "L-" in answer.words, answer.text[-2000:]
        assert len(answer.err) < 100_000
    elif answer.out.startswith("{"):
        record = json.loads(answer.out, parse_constant=no_nonsense)
        if "built" in record:
            months = [month["probability"] for month in record["built"]["by_month"]]
            assert math.isclose(sum(months), 1, abs_tol=1e-9)
            assert all(0 <= chance <= 1 for chance in months)


def files_are_spoiled(folder, kind: str, number: int, seed: str) -> None:
    """Spoil, check and now and then use so many files of one kind."""
    name, content = PLAIN[kind]
    rng = random.Random(f"{kind} {seed}")
    (folder / "new").mkdir()
    file = folder / name
    others = {path: data for path, data in contents(folder).items() if path != name}
    for step in range(number):
        data = spoiled(kind, content, rng)
        file.write_bytes(data)
        try:
            if kind in EVERY:
                hold(dating("check", name, cwd=folder), name)
            if step % EVERY.get(kind, 1) == 0:
                hold(dating(*USES[kind], cwd=folder), name)
        except BaseException as fault:
            fault.add_note(f"{kind} {seed}, file {step}:\n{data[:4000].decode('utf-8', 'replace')}")
            raise
        left = contents(folder)
        assert left.pop(name) == data
        made = [path for path in left if path not in others]
        assert all(path.startswith("new/") for path in made), made
        assert {path: data for path, data in left.items() if path not in made} == others
        for path in made:
            (folder / path).unlink()


def learned_are_damaged(works, folder, number: int, seed: str) -> None:
    """Damage so many learned files: each is refused, or gives the date of the whole one."""
    rng = random.Random(f"learned {seed}")
    damaged = folder / "damaged.nc"
    whole = works.folder / "learned.nc"

    def estimate(learned):
        options = ("--learned", learned, "--as", "json")
        return dating("estimate", "A.yaml", *options, cwd=works.folder)

    honest = json.loads(estimate(whole).out)["built"]
    for step in range(number):
        what = spoil_learned(whole, damaged, rng)
        try:
            answer = estimate(damaged)
            hold(answer, "damaged.nc")
            if answer.status == 0:
                assert json.loads(answer.out)["built"] == honest, "another date in silence"
        except BaseException as fault:
            fault.add_note(f"learned {seed}, file {step}: {what}")
            raise


@pytest.mark.parametrize("kind", PLAIN)
def test_a_spoiled_file_is_used_or_refused_with_words(lyres, kind):
    files_are_spoiled(lyres, kind, FEW[kind], "few")


def test_a_damaged_learned_file_is_refused(drafted, concertinas, tmp_path):
    learned_are_damaged(drafted, tmp_path, FEW["learned"] // 2, "few")
    learned_are_damaged(concertinas, tmp_path, FEW["learned"] // 2, "few")


@pytest.mark.slow
@pytest.mark.parametrize("kind", PLAIN)
def test_ten_thousand_spoiled_files_are_used_or_refused_with_words(lyres, kind):
    files_are_spoiled(lyres, kind, MANY[kind], "many")


@pytest.mark.slow
@pytest.mark.parametrize("works", ["drafted", "concertinas"])
def test_hundreds_of_damaged_learned_files_are_refused(request, tmp_path, works):
    works = request.getfixturevalue(works)
    learned_are_damaged(works, tmp_path, MANY["learned"] // 2, "many")


def slipped(rng: random.Random) -> tuple[str, str, str]:
    """Invent an examination with one slip: what it is, its text, and what a message must name."""
    kind = rng.choice(["measured", "sure", "one_of", "other", "future", "document", "twice"])
    state = rng.choice(["wood", "metal", "horn"])
    edits = {
        "measured": ("value: 22.4", f"value: {slipped_depth(rng)}", "depth"),
        "sure": ("ends: metal", f"ends: {{state: {state}, sure: 0}}", "ends"),
        "one_of": ("ends: metal", f"ends: {{one_of: [{state}, {state}]}}", "ends"),
        "other": ("ends: metal", f"ends: {{other: {state}}}", "ends"),
        "future": ("2026-03-02", f"{rng.randint(2500, 9998)}-03-02", "examined"),
        "document": (
            "not_after: 1933-06",
            f"{rng.choice(['not_after: 18', 'not_before: 19'])}{rng.randint(50, 99)}",
            "document",
        ),
        "twice": (
            "  - {what: bill of sale, not_after: 1933-06, trust: 0.95}\n",
            "  - {what: bill of sale, not_after: 1933-06, trust: 0.95}\n" * 2,
            "bill of sale",
        ),
    }
    old, new, named = edits[kind]
    assert old in LYRE
    return kind, LYRE.replace(old, new), named


def slipped_depth(rng: random.Random) -> float:
    """Write a depth of 21 to 23.5 mm in another unit, with another sign, or mistyped."""
    depth = rng.uniform(21, 23.5)
    factor = rng.choice([10, 100, 0.1, 1 / 25.4, -1, 1000, 0.001, 0])
    return round(depth * factor, 4)


def slips_are_named(folder, number: int, seed: str) -> None:
    """Invent so many slips; each is refused or warned of, on its line."""
    rng = random.Random(f"slips {seed}")
    silent = []
    for _ in range(number):
        kind, text, named = slipped(rng)
        (folder / "L-1.yaml").write_text(text, "utf-8")
        answer = dating("check", "L-1.yaml", cwd=folder)
        if "L-1.yaml, line" not in answer.words or named not in answer.words:
            silent.append((kind, text.splitlines()))
        elif answer.status == 0:
            strict = dating("check", "--strict", "L-1.yaml", cwd=folder)
            if strict.status != 1:
                silent.append((kind, "not strict", text.splitlines()))
    assert not silent, f"{len(silent)} of {number}, such as {silent[0]}"


def test_no_invented_slip_is_passed_over(lyres):
    slips_are_named(lyres, 60, "few")


@pytest.mark.slow
def test_no_slip_of_thousands_is_passed_over(lyres):
    slips_are_named(lyres, 2000, "many")


def test_a_spoiled_file_with_a_slip_is_not_believed(lyres):
    """A slip stays a warning where other things in the file were spoiled harmlessly."""
    rng = random.Random("both")
    for name, slip in sorted(SLIPS.items()):
        if slip.kind != "examination" or slip.refused:
            continue
        comment = "".join(rng.choices("abcdef ", k=40))
        (lyres / "L-1.yaml").write_text(f"# {comment}\n{slip.text()}", "utf-8")
        answer = dating("check", "L-1.yaml", cwd=lyres)
        assert "L-1.yaml, line" in answer.words, name
