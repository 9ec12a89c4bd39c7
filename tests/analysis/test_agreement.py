"""Agreement and competing ends against published examples and exhaustive matching."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etholog.analysis.agreement import _running, agreement, kappa, limits_of_agreement, match
from etholog.base.refusal import Refusal


def states(text: str) -> pd.DataFrame:
    rows = [word.split("-") for word in text.split()]
    return pd.DataFrame(
        {
            "behaviour": [a[0] for a, _ in rows],
            "kind": "state",
            "qualifier": None,
            "onset_s": [float(a[1:]) for a, _ in rows],
            "offset_s": [float(b) for _, b in rows],
        }
    )


def events(*seconds: float) -> pd.DataFrame:
    return pd.DataFrame({"behaviour": "touch", "kind": "event", "onset_s": seconds, "offset_s": seconds})


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        # Cohen 1968, table 1 as counts of 200 (value from memory, and R's vcd and psych)
        ([[88, 14, 18], [10, 40, 10], [2, 6, 12]], 0.49152542373),
        # Landis & Koch 1977, multiple sclerosis patients, Winnipeg, as in R's vcd
        ([[38, 5, 0, 1], [33, 11, 3, 0], [10, 14, 5, 6], [3, 7, 3, 10]], 0.20794246404),
        # Hout et al. 1987 as in Agresti 2002, husbands and wives (table from memory; it gives R's vcd::SexualFun)
        ([[7, 7, 2, 3], [2, 8, 3, 7], [1, 5, 4, 9], [2, 8, 9, 14]], 0.1293303),
        ([[20, 5], [10, 15]], 0.4),
    ],
)
def test_kappa_is_the_published_one(table: list[list[float]], expected: float) -> None:
    assert kappa(np.array(table, dtype=float)) == pytest.approx(expected, abs=5e-8 if expected == 0.1293303 else 1e-11)


def test_kappa_is_statsmodels() -> None:
    from statsmodels.stats.inter_rater import cohens_kappa

    table = np.array([[44, 7, 9], [5, 20, 5], [1, 3, 6.0]])
    assert kappa(table) == pytest.approx(cohens_kappa(table).kappa)


def test_kappa_of_one_code_throughout_is_not_defined() -> None:
    assert np.isnan(kappa(np.array([[9.0, 0], [0, 0]])))


def test_time_unit_kappa() -> None:
    # Invented records on a grid of 1 s: 18 of 20 units agree, .26 by chance, kappa .8648648649.
    found = agreement(states("D0-6 P6-10 I10-16 R16-20"), states("D0-5 P5-10 I10-17 R17-20"))
    assert found.kappa == pytest.approx(0.8648648649, abs=1e-10)


@pytest.mark.parametrize(("tolerance", "matched", "agreed"), [(0.5, 3, 0.375), (1.0, 4, 0.5714285714)])
def test_onsets_are_matched_one_to_one(tolerance: float, matched: int, agreed: float) -> None:
    found = agreement(events(1, 2, 3, 10, 15), events(1.4, 2.6, 9.1, 10.2, 15.9, 20), tolerance)
    assert found.matched == matched
    assert found.table.loc["touch", "agreed"] == pytest.approx(agreed)


def test_the_trap_for_nearest_first_and_the_edge_of_the_tolerance() -> None:
    assert agreement(events(1.0, 1.8), events(1.7, 2.6), 0.9).matched == 2
    assert agreement(events(0.3), events(0.1 + 0.2 + 0.1), 0.1).matched == 1  # in whole ms no float can spoil it


instants = st.lists(st.integers(0, 60), max_size=9).map(sorted)


@pytest.mark.slow
@settings(deadline=None, max_examples=150)
@given(instants, instants, st.integers(0, 9))
def test_no_matching_is_larger(first: list[int], second: list[int], tolerance: int) -> None:
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import maximum_bipartite_matching

    ours = match(np.array(first, dtype=np.int64), np.array(second, dtype=np.int64), tolerance)
    assert all(abs(first[i] - second[j]) <= tolerance for i, j in ours)
    if first and second:
        near = csr_matrix(np.abs(np.subtract.outer(first, second)) <= tolerance)
        assert len(ours) == (maximum_bipartite_matching(near, perm_type="column") >= 0).sum()


@pytest.mark.slow
@settings(deadline=None, max_examples=300)
@given(instants, instants, st.integers(0, 9))
def test_no_matching_as_large_is_nearer(first: list[int], second: list[int], tolerance: int) -> None:
    from scipy.optimize import linear_sum_assignment

    ours = match(np.array(first, dtype=np.int64), np.array(second, dtype=np.int64), tolerance)
    assert len({i for i, _ in ours}) == len({j for _, j in ours}) == len(ours)
    if not (first and second):
        return
    # A pair too far apart costs more than all near ones together, so the cheapest assignment has the fewest of them.
    apart = np.abs(np.subtract.outer(first, second)).astype(float)
    cost = np.where(apart <= tolerance, apart, 1e6)
    rows, columns = linear_sum_assignment(cost)
    near = apart[rows, columns] <= tolerance
    assert len(ours) == near.sum()
    assert sum(abs(first[i] - second[j]) for i, j in ours) == apart[rows, columns][near].sum()


def test_the_least_distance_moves_a_limit_of_agreement() -> None:
    # Invented: the first bout of the second record is nearer to the second of the first; taken in order, the lengths
    # that are compared would be another pair's.
    first = events(0.0, 0.9)
    assert agreement(first, events(1.0), 1.0).matched == 1
    assert match(np.array([0, 900]), np.array([1000]), 1000) == [(1, 0)]


def test_what_was_not_watched_by_both_is_left_out_and_named() -> None:
    first, second = states("D0-6 P6-10 D50-56"), states("D0-6 P6-10")
    watched = pd.DataFrame({"onset_s": [0.0], "offset_s": [40.0]})
    found = agreement(first, second, watched=watched)
    assert (found.watched_s, found.unwatched_s, found.silent_s, found.outside) == (40.0, 16.0, 30.0, 1)
    assert found.kappa == found.agreed == 1.0
    turned = agreement(second, first, watched=watched)
    assert (turned.outside, turned.unwatched_s) == (1, 16.0)
    blind = agreement(first, second)
    assert (blind.watched_s, blind.silent_s, blind.outside) == (56.0, 40.0, 0)
    assert blind.agreed == 2 / 3


@pytest.mark.parametrize("unit", [0.1, 1.0, 7.0])
def test_how_long_both_watched_is_no_matter_of_the_unit(unit: float) -> None:
    first, second = states("D0.25-1 P3-10.4"), states("D0.5-1")
    found = agreement(first, second, unit_s=unit, watched=pd.DataFrame({"onset_s": [0.5], "offset_s": [3.2]}))
    assert (found.watched_s, found.unwatched_s, found.silent_s) == (2.7, 7.7, 2.0)


def test_two_sessions_in_one_table_are_refused() -> None:
    both = pd.concat([states("D0-6").assign(session="a"), states("D0-6").assign(session="b")])
    with pytest.raises(Refusal, match="two sessions"):
        agreement(both, both)


def test_bouts_that_were_cut_say_nothing_of_how_long_they_were() -> None:
    first, second = states("D0-6 D10-16"), states("D0-7 D10-12").assign(whole=[True, False])
    assert agreement(first, second).matched == 2
    assert agreement(first, second).difference_s == 1.0
    assert agreement(first, second.assign(whole=True)).difference_s == -1.5


def test_time_units_are_those_of_a_loop_over_bouts() -> None:
    generator = np.random.default_rng(3)
    onset = np.sort(generator.uniform(0, 300, 40)).round(3)
    bouts = pd.DataFrame({"onset": (onset * 1000).astype(int), "offset": ((onset + 9) * 1000).astype(int)})
    starts = np.arange(0, 310_000, 700)
    slow = np.zeros(len(starts), dtype=int)
    for row in bouts.itertuples():
        slow[(starts >= row.onset) & (starts < row.offset)] = 1
    assert _running(bouts, 700, len(starts)).tolist() == slow.tolist()


def test_a_shift_between_two_clocks_is_taken_out() -> None:
    second = states("D3-9 P9-13 I13-19")
    found = agreement(states("D0-6 P6-10 I10-16"), second, 0.5, align=True)
    assert found.shift_s == 3.0
    assert found.matched == 3
    assert found.kappa == 1.0


@pytest.mark.slow
@settings(deadline=None, max_examples=60)
@given(st.integers(-400, 400), st.integers(0, 10_000))
def test_any_shift_between_clocks_is_found(seconds: int, seed: int) -> None:
    generator = np.random.default_rng(seed)
    true = np.sort(generator.uniform(0, 900, 40))
    code = generator.choice(["D", "P", "I"], 40)
    late = true + seconds + generator.uniform(-0.3, 0.3, 40)  # the second observer's fingers are not the first's
    first, second = (
        pd.DataFrame({"behaviour": code, "kind": "event", "onset_s": onset, "offset_s": onset})
        for onset in (true, late)
    )
    found = agreement(first, second.drop(index=[3, 17]), 1.0, align=True)
    assert found.shift_s == pytest.approx(seconds, abs=0.2)
    assert found.matched == 38
    assert found.agreed == 38 / 40


def test_nothing_in_common_has_no_shift_and_no_number() -> None:
    found = agreement(states("D0-6"), states("P1-3"), align=True)
    assert (found.shift_s, found.matched, found.agreed) == (0.0, 0, 0.0)
    assert np.isnan(found.difference_s)
    empty = states("D0-6").iloc[:0]
    nothing = agreement(empty, empty, align=True)
    assert nothing.table.empty
    assert np.isnan([nothing.kappa, nothing.agreed, nothing.difference_s]).all()


def test_limits_of_agreement_of_durations() -> None:
    # Bland & Altman 1986, Lancet 327:307-310: mean difference plus and minus 1.96 standard deviations.
    found = agreement(states("D0-6 D10-16 D20-26"), states("D0-7 D10-17 D20-29")).table.loc["D"]
    apart = np.array([1, 1, 3])
    assert found["difference_s"] == pytest.approx(apart.mean())
    assert found["high_s"] - found["low_s"] == pytest.approx(2 * 1.96 * apart.std(ddof=1), rel=1e-4)


def test_differences_that_are_alike_have_a_mean_and_no_limits() -> None:
    mean, low, high = limits_of_agreement(np.array([0.3, 0.1 + 0.2, 0.3]))  # apart by rounding alone
    assert (mean, np.isnan(low), np.isnan(high)) == (pytest.approx(0.3), True, True)
    assert np.isnan(limits_of_agreement(np.array([0.3]))[1])


def test_limits_of_agreement_on_peak_flow() -> None:
    # Bland & Altman 1986, table 1, Wright's peak flow meter, 17 people measured twice with the large meter and the
    # mini meter (data from memory): mean difference -2.1 l/min, SD 38.8, limits -79.7 and 75.5 with 2 SD there.
    large = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    mean, low, high = limits_of_agreement(np.subtract(large, mini).astype(float))
    assert mean == pytest.approx(-2.1, abs=0.05)
    assert (high - low) / (2 * 1.96) == pytest.approx(38.8, abs=0.05)
