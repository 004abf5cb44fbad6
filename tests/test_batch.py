"""Whole tables beside estimates of one instrument at a time."""

import csv
import pickle
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import dating
from dating.batch import compiled, estimate_many, joint, lanes, many, rows, write_estimates
from dating.batch.codes import coded_frame
from dating.cells import DOCUMENT_COLUMNS, cells_of
from dating.examination import Examination
from dating.learning.files import read_draws, write_learned
from dating.learning.levels import Correction
from dating.learning.prior import prior_draws
from dating.learning.sampling import learn, plan_of
from dating.maker import Maker
from dating.reading import InputError
from dating.tabulation import LEVEL
from tests.inventing import Inventor, invented_data
from tests.learning import MAKER, written
from tests.test_latent import (
    DOUBTFUL,
    EXAMINED,
    FREE,
    HEADER,
    MANY,
    examined,
    rows_together,
    some_latent,
    some_learned,
)

WITHIN = 1e-6
ALIKE = 1e-9
CORPUS = "demo_data/marrowby_corpus.csv"
FEW = 18
SEEDS = [seed if seed < FEW else pytest.param(seed, marks=pytest.mark.slow) for seed in range(60)]
PATHS = {"numpy": joint.add_rows, "compiled": compiled.add_rows}


@pytest.fixture(params=PATHS, autouse=False)
def path(request, monkeypatch):
    """Once with numpy alone, once compiled."""
    monkeypatch.setattr(rows, "_add_rows", lambda: PATHS[request.param])
    return request.param


@pytest.fixture(scope="module")
def marrowby():
    return dating.read_maker("priors/marrowby.yaml")


def frame_of(maker, cells):
    """Cells of the corpus without what says when the instruments were built."""
    frame = pd.DataFrame(cells)
    return frame.drop(columns=["built", "known_by", "trust"], errors="ignore")


@pytest.fixture(scope="module")
def corpus(marrowby):
    with open(CORPUS, encoding="utf-8") as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    return frame_of(marrowby, rows)


# Equal to estimates one by one ---------------------------------------------------------------


def several(seed, count=4):
    """One invented maker, and several examinations of it."""
    inventor = Inventor(seed)
    data = inventor.maker()
    examinations = [inventor.examination(data) for _ in range(count)]
    return (
        Maker.model_validate(data),
        [Examination.model_validate(each) for each in examinations],
    )


def check_rows(maker, examinations, dated, *, level=LEVEL, learned=None):
    """Hold each row against the estimate of one; returns how many were possible."""
    assert len(dated) == len(examinations)
    possible = 0
    for examination, (_, row) in zip(examinations, dated.iterrows(), strict=True):
        assert row["instrument"] == examination.instrument
        try:
            made = dating.estimate(maker, examination, level=level, learned=learned)
        except InputError as error:
            check_lost(row, str(error))
            continue
        possible += 1
        check_row(maker, made, row, level)
    return possible


def check_lost(row, message):
    assert row["problem"] in message
    assert row.drop(["instrument", "stretches", "converged", "problem"]).isna().all()
    assert (row["stretches"], row["converged"]) == (0, False)


def check_row(maker, made, row, level):
    p, period = made.probabilities, maker.period
    wanted = {
        "mean": float(p @ np.arange(len(p))),
        "mass": made.highest_density(level).mass,
        "entropy": made.entropy,
        **{f"original {name}": chance for name, chance in made.originality.items()},
        "all_original": made.all_original,
        **{f"year {year}": m for year, m in zip(period.years(), made.years().values, strict=True)},
        "standard_error": made.errors.max(),
    }
    assert [row[name] for name in wanted] == pytest.approx(list(wanted.values()), abs=WITHIN, rel=0)
    assert row["converged"] == made.converged
    assert pd.isna(row["problem"])
    check_months(made, row, level)


def position(maker, month):
    return month.year * 12 + month.month - 1 - maker.period.first


def check_months(made, row, level):
    """Months agree, but for those that are equally probable within rounding."""
    p, maker = made.probabilities, made.maker
    mode, median = position(maker, row["mode"]), position(maker, row["median"])
    assert p[mode] >= p.max() - ALIKE
    assert mode <= made.mode - maker.period.first
    if median != made.median - maker.period.first:
        assert abs(np.cumsum(p)[min(median, made.median - maker.period.first)] - 0.5) < ALIKE
    found = made.highest_density(level).stretches
    ends = (position(maker, row["first"]), position(maker, row["last"]))
    stated = (found[0].first - maker.period.first, found[-1].last - maker.period.first)
    assert (*ends, row["stretches"]) == (*stated, len(found))


@pytest.mark.usefixtures("path")
@pytest.mark.parametrize("seed", SEEDS)
def test_invented_makers_row_by_row(seed):
    maker, examinations = several(seed)
    check_rows(maker, examinations, estimate_many(maker, examinations, level=0.8), level=0.8)


def test_invented_makers_hold_every_kind_of_evidence():
    cases = [str(invented_data(seed)) for seed in range(FEW)]
    kinds = ["'one_of'", "'sure'", "'other'", "'tails'", "'donors'", "'by_variant'", "113-"]
    kinds += ["'trust': 0.95", "'swapped': 1", "'variant'", "'within'", "'weight': 2", "'lag': ["]
    assert [kind for kind in kinds if sum(kind in case for case in cases) < 3] == []
    made = [estimate_many(*several(seed)) for seed in range(FEW)]
    assert sum(each["problem"].notna().sum() for each in made) > 3
    assert sum((each["standard_error"] > 0).any() for each in made) > 2


@pytest.mark.usefixtures("path")
def test_corpus_row_by_row(marrowby, corpus):
    """Here an event moves several features, so that draws are summed over, and doubled."""
    some = corpus.iloc[:: 400 // 40].replace("", None)
    table = dating.read_corpus(CORPUS, marrowby)
    examinations = [reference.examination for reference in table.references[:: 400 // 40]]
    dated = estimate_many(marrowby, some)
    assert list(dated.index) == list(some.index)
    assert check_rows(marrowby, examinations, dated) == 40
    pd.testing.assert_frame_equal(
        estimate_many(marrowby, examinations), dated.reset_index(drop=True)
    )


@pytest.mark.usefixtures("path")
def test_draws_are_doubled_where_they_are_needed(marrowby, corpus, monkeypatch):
    monkeypatch.setattr("dating.estimates.TOLERATED_ERROR", 4e-4)
    monkeypatch.setattr(many, "TOLERATED_ERROR", 4e-4)
    monkeypatch.setattr("dating.learning.learned.MOST_POINTS", 64)
    examinations = [r.examination for r in dating.read_corpus(CORPUS, marrowby).references[:12]]
    points = [dating.estimate(marrowby, each).tables.draws for each in examinations]
    assert len(set(points)) > 1
    check_rows(marrowby, examinations, estimate_many(marrowby, examinations))


LEARNED_ROWS = [
    {"ends": "metal", "label": "round", "buckle": "plain | none", "width": "158.5 within 1"},
    {"ends": "wood (0.8)", "buckle": "roller", "width": "155.0", "length": "207"},
    {"label": "square", "document": "bill", "not_after": "1933-02", "document_trust": "0.9"},
    {},
    {"ends": "other: bone", "label": "square", "width": "9999"},
]


@pytest.mark.usefixtures("path")
@pytest.mark.parametrize("corrected", [False, True])
def test_learned_joint_draws_row_by_row(tmp_path, corrected):
    maker, _ = written(tmp_path, MAKER, [("C-1", "1931-05", 1, "wood")])
    learned = prior_draws(maker).thinned(64)
    if corrected:
        learned = replace(learned, correction=Correction(np.linspace(0, 1, 501) ** 0.7, 50))
    frame = pd.DataFrame([{"instrument": f"I-{n}"} | row for n, row in enumerate(LEARNED_ROWS)])
    seen = [coded_frame(frame, maker).examination(n) for n in (0, 1, 2, 4)]
    seen = [
        each.model_copy(update={"instrument": f"I-{n}"})
        for n, each in zip((0, 1, 2, 4), seen, strict=True)
    ]
    dated = estimate_many(maker, frame, learned=learned)
    assert check_rows(maker, seen, dated.drop(index=3), learned=learned) == 4
    assert (dated["standard_error"][[0, 1, 2]] > 0).all()


@pytest.mark.usefixtures("path")
@pytest.mark.parametrize("corrected", [False, True])
def test_latent_variants_row_by_row(tmp_path, corrected):
    (tmp_path / "many.yaml").write_text(MANY, encoding="utf-8")
    maker = dating.read_maker(tmp_path / "many.yaml")
    learned = some_learned(maker, some_latent())
    if corrected:
        learned = replace(learned, correction=Correction(np.linspace(0, 1, 501) ** 0.8, 50))
    seen = [examined(**each) for each in EXAMINED.values()]
    dated = estimate_many(maker, seen, learned=learned)
    assert check_rows(maker, seen, dated, learned=learned) == len(seen)


def test_a_learned_file(tmp_path):
    rows = [*DOUBTFUL, *rows_together(50, 2)]
    maker, corpus = written(tmp_path, FREE, rows, HEADER)
    write_learned(learn(plan_of(maker, corpus), seed=3), tmp_path / "learned.nc")
    learned = read_draws(tmp_path / "learned.nc", maker)
    seen = [reference.examination for reference in corpus.references[:20]]
    assert check_rows(maker, seen, estimate_many(maker, seen, learned=learned), learned=learned)


# Little evidence and much --------------------------------------------------------------------


def stubborn(features, swapped):
    """A maker with one component whose features may contradict each other time and again."""
    history = [{"state": "old"}, {"state": "new", "first_use": "1935-01", "overlap": 0}]
    feature = {"ask": "?", "states": ["old", "new"], "slip": 0.001, "history": history}
    names = [f"f{n}" for n in range(features)]
    return Maker.model_validate(
        {
            "maker": "Example Works",
            "product": "lyres",
            "invented": True,
            "period": "1930/1939",
            "components": {"body": {"swapped": swapped, "features": dict.fromkeys(names, feature)}},
        }
    )


@pytest.mark.usefixtures("path")
@pytest.mark.parametrize("swapped", [0, 0.05])
def test_much_contradicting_evidence_does_not_vanish(swapped):
    """Twenty features against twenty: odds of 1e66 that float32 would lose."""
    maker = stubborn(41, swapped)
    frame = pd.DataFrame({f"f{n}": ["old" if n % 2 else "new"] for n in range(41)})
    examination = coded_frame(frame, maker).examination(0)
    dated = estimate_many(maker, frame.assign(instrument="-"))
    assert check_rows(maker, [examination], dated) == 1


@pytest.mark.usefixtures("path")
def test_a_blank_table_gives_the_prior(marrowby):
    dated = estimate_many(marrowby, pd.DataFrame({"instrument": ["a", "b"], "nut": [None, ""]}))
    prior = dating.month_tables(marrowby).output
    years = marrowby.period.years()
    masses = np.add.reduceat(prior, np.arange(0, len(prior))[[0, *range(10, len(prior), 12)]])
    assert dated.loc[1, [f"year {year}" for year in years]].tolist() == pytest.approx(masses)
    swaps = [part.swapped.value for part in marrowby.components.values()]
    assert dated.loc[0, "all_original"] == pytest.approx(np.prod([1 - s for s in swaps]))
    assert dated.loc[0, "mean"] == pytest.approx(prior @ np.arange(len(prior)))


@pytest.mark.usefixtures("path")
@pytest.mark.parametrize("seed", [None, *range(12)])
def test_dates_alone_are_as_with_parts(corpus, marrowby, seed):
    """With one draw and with many, with variants and without, and where nothing is possible."""
    maker, table = (marrowby, some_rows(corpus, 12)) if seed is None else several(seed)
    dated = estimate_many(maker, table)
    about = [f"original {name}" for name in maker.components]
    wanted = dated.drop(columns=["entropy", "all_original", *about])
    alone = estimate_many(maker, table, parts=False)
    pd.testing.assert_frame_equal(alone, wanted, check_exact=False, rtol=0, atol=1e-12)


def test_an_empty_table(marrowby):
    dated = estimate_many(marrowby, pd.DataFrame({"instrument": [], "nut": []}, dtype="str"))
    full = estimate_many(marrowby, pd.DataFrame({"instrument": ["a"]}))
    assert len(dated) == 0
    assert list(dated.columns) == list(full.columns)


@pytest.mark.usefixtures("path")
def test_rows_that_no_month_allows_do_not_stop_the_others():
    maker = stubborn(2, 0)
    frame = pd.DataFrame(
        {
            "instrument": ["good", "bad", "fine"],
            "f0": ["old", "old", None],
            "document": ["a bill", "a bill", None],
            "not_before": ["1931", "1951", None],
            "document_trust": ["1", "1", None],
        }
    )
    dated = estimate_many(maker, frame)
    assert dated["problem"].isna().tolist() == [True, False, True]
    assert dated.loc[1, "problem"] == (
        "no month of the period 1930-01/1939-12 allows: document 1 (a bill: not before 1951)"
    )
    assert dated.loc[[0, 2], "mass"].min() >= 0.9 - 1e-12


# The table ------------------------------------------------------------------------------------


def some_rows(corpus, count=60):
    return corpus.iloc[:count].replace("", None)


@pytest.mark.usefixtures("path")
@pytest.mark.parametrize("chunk", [1, 7, 1000])
def test_chunks_change_no_bit(corpus, marrowby, chunk):
    frame = some_rows(corpus, 25)
    whole = estimate_many(marrowby, frame)
    pd.testing.assert_frame_equal(
        estimate_many(marrowby, frame, chunk=chunk), whole, check_exact=True
    )


@pytest.mark.usefixtures("path")
def test_little_room_changes_no_bit(corpus, marrowby, monkeypatch):
    """Few rows are dated at a time, and draws are taken in narrow blocks."""
    frame = some_rows(corpus, 4).drop(columns=["neck-depth", "rim-depth"])
    whole = estimate_many(marrowby, frame)
    monkeypatch.setattr(rows, "ROOM", 1)
    little = estimate_many(marrowby, frame, chunk=2)
    pd.testing.assert_frame_equal(little, whole, check_exact=False, rtol=0, atol=1e-12)
    monkeypatch.setattr(rows, "WIDTHS", lanes.WIDTHS[-1:])
    least = estimate_many(marrowby, frame)
    pd.testing.assert_frame_equal(least, whole, check_exact=False, rtol=0, atol=1e-12)


@settings(max_examples=8)
@given(st.permutations(range(12)), st.lists(st.integers(0, 11), max_size=4))
def test_a_permutation_of_rows_permutes_the_result(order, twice):
    maker, examinations = several(4, 12)
    picked = [*order, *twice]
    whole = estimate_many(maker, examinations)
    made = estimate_many(maker, [examinations[row] for row in picked])
    wanted = whole.iloc[picked].reset_index(drop=True)
    pd.testing.assert_frame_equal(made, wanted, check_exact=True)


@pytest.mark.usefixtures("path")
def test_categories_are_as_text(corpus, marrowby):
    frame = some_rows(corpus, 30)
    coded = frame.copy()
    for name in coded.columns[1:]:
        coded[name] = pd.Categorical(coded[name])
    coded["nut"] = coded["nut"].cat.add_categories(["never seen"])
    pd.testing.assert_frame_equal(
        estimate_many(marrowby, coded), estimate_many(marrowby, frame), check_exact=True
    )


def test_numbers_and_not_examined_are_understood(marrowby):
    as_text = {"neck-depth": ["21.4", "not examined"], "nut": ["bone", " bone "]}
    as_numbers = {"neck-depth": [21.4, np.nan], "nut": ["bone", "bone"]}
    pd.testing.assert_frame_equal(
        estimate_many(marrowby, pd.DataFrame(as_text)),
        estimate_many(marrowby, pd.DataFrame(as_numbers)),
    )


def problems_of(maker, table):
    with pytest.raises(InputError) as caught:
        estimate_many(maker, table)
    return caught.value.problems


def test_bad_cells_are_located_by_row_and_column(marrowby):
    frame = pd.DataFrame(
        {
            "instrument": ["a", "b", "c"],
            "nut": ["bone", "bonne", "bonne"],
            "neck-depth": ["21", "22", "wide"],
            "not_after": ["1930", "193", None],
            "document_trust": [1, 1, 2],
        },
        index=[10, 11, 12],
    )
    found = [(p.file, p.key, p.nearest) for p in problems_of(marrowby, frame)]
    assert sorted(found) == [
        ("the table, row 11", "not_after", ""),
        ("the table, row 11", "nut", "bone"),
        ("the table, row 12", "document_trust", ""),
        ("the table, row 12", "neck-depth", ""),
    ]


def test_unknown_columns_and_missing_names(marrowby):
    (column,) = problems_of(marrowby, pd.DataFrame({"instrument": ["a"], "nuts": ["bone"]}))
    assert (column.key, column.nearest) == ("nuts", "nut")
    (name,) = problems_of(marrowby, pd.DataFrame({"instrument": ["a", None]}, index=[4, 5]))
    assert (name.file, name.key) == ("the table, row 5", "instrument")


def test_bad_cells_of_a_sheet_are_located_by_line(marrowby, tmp_path):
    file = tmp_path / "seen.csv"
    file.write_text("# of ours\ninstrument,nut\na,bone\n\nb,bonne\n", encoding="utf-8")
    (problem,) = problems_of(marrowby, file)
    assert (problem.file, problem.line, problem.key) == (str(file), 5, "nut")
    file.write_text("instrument,nut\na,bone,more\n", encoding="utf-8")
    (problem,) = problems_of(marrowby, file)
    assert (problem.line, problem.message) == (
        2,
        "there are 2 columns, and this row has 3 cells",
    )


def test_bad_files(marrowby, tmp_path):
    (tmp_path / "broken.parquet").write_bytes(b"nothing of the kind")
    for name, said in (
        ("broken.parquet", "not a Parquet file"),
        ("missing.parquet", "no such file"),
        ("missing.csv", "no such file"),
        ("seen.ods", "name a file that ends so"),
    ):
        (problem,) = problems_of(marrowby, tmp_path / name)
        assert said in problem.message
    with pytest.raises(InputError, match="bonne"):
        estimate_many(marrowby, [Examination(instrument="a", maker="m", seen={"nut": "bonne"})])


def test_levels_and_chunks_that_cannot_be(marrowby):
    with pytest.raises(ValueError, match="between 0 and 1"):
        estimate_many(marrowby, [], level=1)
    with pytest.raises(ValueError, match="at least one row"):
        estimate_many(marrowby, [], chunk=0)


def test_files_in_give_what_tables_give(corpus, marrowby, tmp_path):
    frame = some_rows(corpus, 30).reset_index(drop=True)
    frame.to_csv(tmp_path / "seen.csv", index=False)
    frame.to_parquet(tmp_path / "seen.parquet")
    wanted = estimate_many(marrowby, frame)
    for name in ("seen.csv", "seen.parquet"):
        made = estimate_many(marrowby, tmp_path / name)
        pd.testing.assert_frame_equal(made, wanted, check_exact=True)


def test_documents_have_cells(marrowby):
    paper = {"what": "a letter", "not_after": "1931-05", "trust": 0.8}
    examination = dating.Examination(
        instrument="M", maker="marrowby", seen={"nut": "bone"}, documents=[paper]
    )
    cells = {column: paper.get(key) for column, key in DOCUMENT_COLUMNS.items()}
    frame = pd.DataFrame([cells_of(examination) | cells])
    pd.testing.assert_frame_equal(
        estimate_many(marrowby, frame), estimate_many(marrowby, [examination])
    )


def test_what_is_known_of_components_has_cells(marrowby, tmp_path):
    """Alone, beside what is seen, and where nothing is stated to be swapped."""
    known = [
        {},
        {"neck": {"original": True, "sure": 0.9}},
        {"neck": {"original": False}, "body": {"original": True}},
        {"hardware": {"original": False, "sure": 0.7}},
    ]
    rows = [
        dating.Examination.model_validate(
            {"instrument": f"M-{n}", "maker": "marrowby", "parts": parts}
            | {"seen": {"heel-joint": "screwed", "tuner-plate": "plain"} if n < 3 else {}}
        )
        for n, parts in enumerate(known)
    ]
    frame = pd.DataFrame([cells_of(row) for row in rows])
    assert frame["neck"].tolist()[1:3] == ["original (0.9)", "not original"]
    frame.to_csv(tmp_path / "seen.csv", index=False)
    for table in (frame, tmp_path / "seen.csv", rows):
        check_rows(marrowby, rows, estimate_many(marrowby, table))
    assert estimate_many(marrowby, frame)["original neck"].is_unique


@pytest.mark.parametrize("cell", ["replaced", "original (much)", "original (2)", "original (-1)"])
def test_cells_of_components_that_cannot_be_read(marrowby, cell):
    frame = pd.DataFrame({"instrument": ["A", "B"], "neck": ["original", cell]})
    (problem,) = problems_of(marrowby, frame)
    assert (problem.file, problem.key) == ("the table, row 1", "neck")
    assert problem.found.strip("'") in {cell, cell.partition("(")[2].rstrip(")")}


# The result -----------------------------------------------------------------------------------


def test_results_come_back_from_files(corpus, marrowby, tmp_path):
    dated = estimate_many(marrowby, some_rows(corpus, 20))
    write_estimates(dated, tmp_path / "dates.parquet")
    back = pd.read_parquet(tmp_path / "dates.parquet").astype(dated.dtypes)
    pd.testing.assert_frame_equal(back, dated.reset_index(drop=True), check_exact=True)
    write_estimates(dated, tmp_path / "dates.csv")
    back = pd.read_csv(tmp_path / "dates.csv")
    assert list(back.columns) == list(dated.columns)
    assert back["mode"].tolist() == [month.strftime("%Y-%m") for month in dated["mode"]]
    numbers = dated.select_dtypes("float").columns
    assert back[numbers].to_numpy() == pytest.approx(dated[numbers].to_numpy(), rel=1e-12)


def test_text_cells_cannot_act_as_formulas(marrowby, tmp_path):
    names = ["=1+1", "+1", "-1", "@a", "\ta", "\ra", "plain", "a=b"]
    dated = estimate_many(marrowby, pd.DataFrame({"instrument": names}))
    for kind in ("str", "category", "object"):
        write_estimates(dated.astype({"instrument": kind}), tmp_path / "dates.csv")
        with open(tmp_path / "dates.csv", encoding="utf-8", newline="") as stream:
            written_names = [row["instrument"] for row in csv.DictReader(stream)]
        assert written_names == [f"'{name}" for name in names[:6]] + names[6:]


def test_what_cannot_be_written_leaves_nothing_behind(marrowby, tmp_path):
    dated = estimate_many(marrowby, pd.DataFrame({"instrument": ["a"]}))
    for file in (tmp_path / "dates.txt", tmp_path / "nowhere" / "dates.csv"):
        with pytest.raises(InputError):
            write_estimates(dated, file)
    assert list(tmp_path.iterdir()) == []


# Dask -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("scheduler", ["threads", "synchronous"])
def test_dask_tables_are_as_pandas(corpus, marrowby, scheduler):
    dd = pytest.importorskip("dask.dataframe")
    frame = some_rows(corpus, 30)
    lazy = estimate_many(marrowby, dd.from_pandas(frame, npartitions=3))
    wanted = estimate_many(marrowby, frame)
    assert lazy.npartitions == 3
    assert lazy.dtypes[1:].equals(wanted.dtypes[1:])  # dask has a type of its own for names
    made = lazy.compute(scheduler=scheduler).astype(wanted.dtypes)
    pd.testing.assert_frame_equal(made, wanted, check_exact=True)


def test_dask_tables_may_be_dated_without_parts(corpus, marrowby):
    dd = pytest.importorskip("dask.dataframe")
    frame = some_rows(corpus, 6)
    lazy = estimate_many(marrowby, dd.from_pandas(frame, npartitions=2), parts=False)
    wanted = estimate_many(marrowby, frame, parts=False)
    assert list(lazy.columns) == list(wanted.columns)
    made = lazy.compute(scheduler="synchronous").astype(wanted.dtypes)
    pd.testing.assert_frame_equal(made, wanted, check_exact=True)


def test_what_is_wrong_goes_from_one_process_to_another(marrowby):
    """Dask pickles the error of a worker."""
    problems = problems_of(marrowby, pd.DataFrame({"instrument": ["a"], "nut": ["bonne"]}))
    error = InputError([*problems, *problems])
    back = pickle.loads(pickle.dumps(error))
    assert (type(back), back.problems, str(back)) == (InputError, error.problems, str(error))


def test_dask_tables_are_checked(marrowby):
    dd = pytest.importorskip("dask.dataframe")
    frame = pd.DataFrame({"instrument": ["a", "b"], "nut": ["bone", "bonne"]})
    lazy = dd.from_pandas(frame, npartitions=2)
    (problem,) = problems_of(marrowby, lazy.rename(columns={"nut": "nuts"}))
    assert problem.nearest == "nut"
    with pytest.raises(InputError) as caught:
        estimate_many(marrowby, lazy).compute(scheduler="synchronous")
    (problem,) = caught.value.problems
    assert (problem.file, problem.key) == ("the table, row 1", "nut")
