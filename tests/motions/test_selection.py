"""Suite rules, factors, best subsets and the record of a test, against enumeration in plain numpy."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import Frame2dError, InputError
from frame2d.motions import (
    EN1998_3,
    Criterion,
    ElasticSpectrum,
    GivenTarget,
    Record,
    candidates,
    check_suite,
    choose_per_limit_state,
    choose_record,
    distance_from_median,
    response_spectra,
    select_suite,
)
from frame2d.motions.subset import Pool, best_sets

TARGET = GivenTarget([0.0, 0.1, 0.5, 4.0], [2.0, 5.0, 5.0, 0.5], "invented target")


def noise(seed, n=400, dt=0.02):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    a = np.convolve(rng.normal(size=n), np.exp(-np.arange(20) / rng.uniform(1, 8)), "same")
    a *= np.sin(np.pi * np.arange(n) / n)
    return Record(2.0 * a / np.abs(a).max(), dt, f"n{seed}", True)


RECORDS = [noise(seed) for seed in range(9)]


def plain_best(pool, size, spread, share):  # type: ignore[no-untyped-def]
    """Score and common factor of every set, one after the other."""
    found = []
    for chosen in combinations(range(pool.peak.size), size):
        r = pool.log_ratio[list(chosen)]
        c = 1.0
        if share:
            c = max(1.0, share / np.exp(r).mean(axis=0).min(), 1.0 / pool.peak[list(chosen)].mean())
            if c > pool.room[list(chosen)].min():
                continue
        r = r + np.log(c)
        J = (1 - spread) * np.mean(r.mean(axis=0) ** 2) + spread * np.mean(r**2)
        found.append((J, c, chosen))
    return sorted(found)


pools = st.tuples(
    st.integers(0, 10**6), st.integers(4, 10), st.integers(1, 4), st.sampled_from([0.0, 0.2, 1.0])
)


@settings(max_examples=25, deadline=None)
@given(case=pools, share=st.sampled_from([0.0, 0.9]))
def test_the_exact_search_finds_what_enumeration_finds(case, share):
    """The kept sets, their order, scores and common factors are those of a plain enumeration, rule or no rule."""
    seed, count, size, spread = case
    rng = np.random.default_rng(seed)
    pool = Pool(
        0.3 * rng.normal(size=(count, 15)), rng.uniform(0.5, 1.5, count), rng.uniform(1.05, 2.0, count)
    )
    expected = plain_best(pool, size, spread, share)[:4]
    scores, factors, sets, exact, visited = best_sets(
        pool, size, spread=spread, share=share, keep=4, exact_limit=1e9, seed=0, starts=1
    )
    assert exact and visited == len(list(combinations(range(count), size)))
    assert np.sum(np.isfinite(scores)) == len(expected)
    for i, (J, c, chosen) in enumerate(expected):
        assert scores[i] == pytest.approx(J, rel=1e-9, abs=1e-15) and factors[i] == pytest.approx(
            c, rel=1e-12
        )
        if J > 1e-14 and (i == 0 or J - expected[i - 1][0] > 1e-12):
            assert tuple(sets[i]) == chosen


@pytest.mark.parametrize("seed", range(4))
def test_exchanges_find_the_best_of_a_pool_that_can_be_enumerated(seed):
    """On 3003 sets the heuristic ends at the exact optimum, keeps no set twice, and says that it is a heuristic."""
    rng = np.random.default_rng(seed)
    pool = Pool(0.3 * rng.normal(size=(15, 20)), rng.uniform(0.7, 1.5, 15), np.full(15, 4.0))
    options = {"spread": 0.1, "share": 0.9, "keep": 6, "seed": 1, "starts": 30}
    best = best_sets(pool, 5, exact_limit=1e9, **options)
    rough = best_sets(pool, 5, exact_limit=0, **options)
    assert best[3] and not rough[3]
    assert rough[0][0] == pytest.approx(best[0][0], rel=1e-9) and np.array_equal(rough[2][0], best[2][0])
    assert len({tuple(chosen) for chosen in rough[2]}) == 6
    assert np.all(rough[0] >= best[0] * (1 - 1e-9))


def test_factors_minimise_the_misfit_within_their_bounds():
    """The factor of each record is the best one, or the bound next to it."""
    pool = candidates(RECORDS, TARGET, 0.5)
    for i, factor in enumerate(pool.factors):
        for other in (0.97 * factor, 1.03 * factor):
            r = np.log(other * pool.PSA[i] / TARGET.acceleration(pool.periods))
            assert np.sqrt(np.mean(r**2)) > pool.score[i]
    narrow = candidates(RECORDS, TARGET, 0.5, bounds=(1.0, 1.1))
    assert np.allclose(narrow.factors, pool.factors.clip(1.0, 1.1))
    assert "at its bound" in narrow.table() and "n0 (synthetic)" in narrow.table()
    fixed = candidates(RECORDS, TARGET, 0.5, factors=1.0)
    assert np.array_equal(fixed.factors, np.ones(9))


def test_a_selected_suite_passes_its_rules_and_scales_to_it():
    """The best suite passes, its factors stay within bounds, and its scaled records have its mean spectrum."""
    pool = candidates(RECORDS, TARGET, 0.5, bounds=(0.25, 6.0))
    selection = select_suite(pool, 4, kind="artificial", keep=3)
    assert selection.exact and selection.sets == 126 and len(selection.suites) == 3
    assert [suite.score for suite in selection.suites] == sorted(suite.score for suite in selection.suites)
    best = selection.best
    assert best.report.passed and best.common >= 1.0 and best.factors.max() <= 6.0
    mean = response_spectra(best.scaled(), best.report.periods).PSA.mean(axis=0)
    assert np.allclose(mean, best.report.mean)
    assert np.min(mean / best.report.target) >= 0.9 * (1 - 1e-9)
    assert "all 126 sets" in selection.table() and all(r.label in selection.table() for r in best.records)


def test_no_set_is_better_than_a_set_that_breaks_the_rules():
    """Where bounds leave no room to satisfy the rules, the error says so; without rules the best fit is shown."""
    strong = TARGET.scaled(10.0)
    pool = candidates(RECORDS, strong, 0.5, bounds=(0.25, 1.0))
    with pytest.raises(Frame2dError, match="rules=False"):
        select_suite(pool, 3)
    free = select_suite(pool, 3, rules=False).best
    assert not free.report.passed and free.common == 1.0


def test_the_rules_have_their_numbers():
    """Two records fail the count; a low mean fails peak and spectrum; 7 may be used with their mean."""
    rigid = ElasticSpectrum(0.5)
    made = check_suite(RECORDS[:2], rigid, 0.5, kind="artificial", factors=[0.01, 0.01])
    verdict = {check.clause: check.passed for check in made.checks}
    assert verdict == {
        "3.2.3.1.2(4)a": False,
        "3.2.3.1.2(4)b": False,
        "3.2.3.1.2(4)c": False,
        "3.2.3.1.2(3)": None,
    }
    assert not made.passed and len(made.open) == 1 and not made.design_on_mean and "FAIL" in made.table()
    ample = check_suite(RECORDS[:7], rigid, 0.5, kind="artificial", factors=[20.0] * 7)
    assert ample.passed and ample.design_on_mean and "use the mean response" in ample.table()


def test_the_rule_limits_are_sharp():
    """Scaled to exactly 90 % of the target, or to exactly ag·S, a suite passes; a hair below it fails."""
    suite = [Record(r.acceleration, r.dt, r.name) for r in RECORDS[:3]]
    T = check_suite(suite, TARGET, 0.5).periods
    mean = response_spectra(suite, T).PSA.mean(axis=0)
    needed = float(0.9 / np.min(mean / TARGET.acceleration(T)))
    for factor, passes in ((1.000001, True), (0.999, False)):
        report = check_suite(suite, TARGET, 0.5, factors=[factor * needed] * 3, ground_acceleration=0.1)
        assert report.checks[2].passed is passes
        peak = check_suite(suite, TARGET, 0.5, factors=[factor] * 3, ground_acceleration=2.0)
        assert peak.checks[1].passed is passes


def test_recorded_suites_need_their_own_statements():
    """Synthetic records fail as recorded ones, and the qualification of the sources stays open until it is stated."""
    assert check_suite(RECORDS, TARGET, 0.5).checks[3].passed is False
    real = [Record(r.acceleration, r.dt, r.name) for r in RECORDS[:3]]
    assert check_suite(real, TARGET, 0.5).checks[4].passed is None
    assert check_suite(real, TARGET, 0.5, qualified=True).checks[4].passed is True


def test_the_choice_for_a_test_weighs_and_excludes():
    """The score is the weighted mean of penalties; a record beyond a limit is excluded with its reason."""
    pool = candidates(RECORDS, TARGET, 0.5)
    error = dict(zip([r.name for r in RECORDS], np.linspace(0.02, 0.18, 9), strict=True))
    margin = np.linspace(0.1, 0.9, 9)
    criteria = [Criterion("error", error, 2.0, limit=0.15), Criterion("margin", margin, 1.0, better="higher")]
    choice = choose_record(pool, criteria, limit_state="some state")
    fit = pool.score / np.median(pool.score)
    expected = (fit + 2.0 * np.array(list(error.values())) / 0.15 + 0.5 / margin) / 4.0
    names = [record.name for record in choice.records]
    for i, name in enumerate(names[:7]):
        assert choice.score[i] == pytest.approx(expected[int(name[1:])])
    assert sorted(names[7:]) == ["n7", "n8"] and set(choice.excluded[7:]) == {"excluded: error"}
    assert np.all(np.diff(choice.score[:7]) >= 0.0) and np.all(np.isinf(choice.score[7:]))
    place = int(names[0][1:])
    assert np.allclose(choice.best.acceleration, RECORDS[place].acceleration * pool.factors[place])
    assert "some state" in choice.table() and "excluded: error" in choice.table()


def test_each_limit_state_has_its_target():
    """The target of each limit state is that of 475 years times its factor, and so are the free factors."""
    choices = choose_per_limit_state(RECORDS, TARGET, 0.5, EN1998_3, bounds=(0.01, 100.0))
    assert list(choices) == ["damage limitation", "significant damage", "near collapse"]
    base = choices["significant damage"]
    for state in EN1998_3:
        assert np.allclose(choices[state.name].factors, state.factor() * base.factors)
        assert choices[state.name].records == base.records
    only = {"near collapse": [Criterion("demand", distance_from_median(np.arange(1.0, 10.0)), 100.0)]}
    assert (
        choose_per_limit_state(RECORDS, TARGET, 0.5, EN1998_3, only)["near collapse"].records[0].name == "n4"
    )


def test_wrong_questions_are_named():
    """Sizes, bounds, names, criteria and limits that cannot be meant are named."""
    pool = candidates(RECORDS, TARGET, 0.5)
    for call, words in (
        (lambda: select_suite(pool, 10), "from 1 to 9"),
        (lambda: candidates(RECORDS, TARGET, 0.5, bounds=(4.0, 0.25)), "lower one first"),
        (lambda: candidates([RECORDS[0], RECORDS[0]], TARGET, 0.5), "two records are named 'n0'"),
        (lambda: candidates(RECORDS, TARGET, 3.0), "known from"),
        (lambda: candidates(RECORDS, TARGET, -1.0), "T1"),
        (lambda: candidates(Record(np.zeros(9), 0.01, "still"), TARGET, 0.5), "no motion"),
        (lambda: check_suite(RECORDS, TARGET, 0.5, factors=[1.0]), "factors are"),
        (lambda: check_suite(RECORDS, ElasticSpectrum(1.0, damping=0.02), 0.5), "damping of the target"),
        (lambda: choose_record(pool, [Criterion("x", {"n0": 1.0})]), "record of criterion"),
        (lambda: choose_record(pool, [Criterion("x", [1.0])]), "one number"),
        (lambda: choose_record(pool, [Criterion("x", np.ones(9), better="more")]), "better of criterion"),
        (lambda: choose_per_limit_state(RECORDS, TARGET, 0.5, EN1998_3, {"collapse": []}), "limit state"),
        (lambda: distance_from_median([1.0, 0.0]), "above 0"),
    ):
        with pytest.raises(InputError, match=words):
            call()
    with pytest.raises(Frame2dError, match="exclude every record"):
        choose_record(pool, [Criterion("x", np.ones(9), limit=0.5)])
