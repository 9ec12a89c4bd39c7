"""Tables of transitions against published tables, R's digits, statsmodels and scipy."""

import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from etholog.analysis.transition import transitions
from etholog.base.refusal import Refusal


def table(text: str, names: str) -> pd.DataFrame:
    rows = [[float(x) for x in row.split()] for row in text.split("/")]
    return pd.DataFrame(rows, index=list(names), columns=list(names))


def diagonal(counts: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(np.eye(len(counts), dtype=bool), counts.index, counts.columns)


# Ploog 1967 by way of Fienberg 1980, table 8-2: squirrel monkeys, a behaviour can't follow itself; row T is empty.
MONKEYS = table("0 1 5 8 9 0/29 0 14 46 4 0/0 0 0 0 0 0/2 3 1 0 38 2/0 0 0 0 0 1/9 25 4 6 13 0", "RSTUVW")
R_EXPECTED = """
nan 5.259508 2.480726 8.215948 6.648049 0.395769
19.185993 nan 10.321716 34.184626 27.660965 1.646700
10.936396 12.474072 5.883583 nan 15.767298 0.938652
.219966 .250893 .118338 .391924 nan .018879
9.657645 11.015527 5.195638 17.207501 13.923689 nan
"""
R_RESIDUALS = """
nan -2.351947 1.792553 -0.102168 1.151878 -0.681420
3.559111 nan 1.623955 3.882894 -7.363920 -1.931670
-3.683843 -4.137916 -2.498650 nan 8.156552 1.336818
-.532648 -.581407 -.367315 -.805878 nan 7.231849
-.269327 6.081207 -.624117 -3.919312 -.326211 nan
"""


def numbers(text: str) -> np.ndarray:
    return np.array([[float(x) for x in line.split()] for line in text.strip().splitlines()])


def test_squirrel_monkeys_with_structural_zeros() -> None:
    # R: glm and loglin agree (but not on df: loglin forgets the zeros); published: 168.05, 135.17, df 15 (from memory).
    found = transitions(MONKEYS, diagonal(MONKEYS))
    assert found.df == 15
    assert found.x2 == pytest.approx(168.045492, abs=5e-7)
    assert found.g2 == pytest.approx(135.1691479, abs=5e-8)
    rows = list("RSUVW")
    np.testing.assert_allclose(found.expected.loc[rows].to_numpy(), numbers(R_EXPECTED), atol=6e-7)
    np.testing.assert_allclose(found.residuals.loc[rows].to_numpy(), numbers(R_RESIDUALS), atol=6e-7)
    # The largest residual but two rests on one observation where 0.019 were expected: it has to be flagged.
    assert found.small.loc["V", "W"]
    assert np.isnan(found.probabilities.loc["T"]).all()  # an empty row has no data, not zeros


def test_squirrel_monkeys_are_statsmodels_poisson_model() -> None:
    import statsmodels.api as sm

    long = MONKEYS.stack().rename("count").rename_axis(["row", "column"]).reset_index()
    long = long[(long["row"] != long["column"]) & (long["row"] != "T")]
    design = pd.get_dummies(long[["row", "column"]], drop_first=True, dtype=float)
    fit = sm.GLM(long["count"], sm.add_constant(design), family=sm.families.Poisson()).fit(tol=1e-12)
    leverage = fit.get_influence().hat_matrix_diag
    reference = (long["count"] - fit.fittedvalues) / np.sqrt(fit.fittedvalues * (1 - leverage))
    ours = transitions(MONKEYS, diagonal(MONKEYS)).residuals
    np.testing.assert_allclose(
        [ours.loc[r, c] for r, c in zip(long["row"], long["column"], strict=True)], reference, rtol=1e-6
    )


def test_baboons_without_structural_zeros() -> None:
    # Moore & Bentley-Condit 2010, J. Data Sci. 8:21-41: infants' by handlers' rank, published to two decimals.
    counts = table("5 5 3/97 83 95/68 138 184", "HML")
    found = transitions(counts)
    published = [[1.12, 0.40, -1.37], [5.06, -1.44, -3.08], [-5.34, 1.32, 3.43]]
    np.testing.assert_allclose(found.residuals, published, atol=0.005)
    computed = [  # by R and statsmodels
        [1.124496320, 0.3960475636, -1.367666960],
        [5.061262109, -1.4379849048, -3.075524529],
        [-5.339435501, 1.3185073145, 3.434420370],
    ]
    np.testing.assert_allclose(found.residuals, computed, atol=6e-10)
    assert (found.df, found.x2) == (4, pytest.approx(30.107553976, abs=5e-9))
    assert found.p == pytest.approx(4.65377e-06, rel=1e-5)
    holm = [[0.752192] * 3, [3.33e-06, 0.752192, 0.012608], [8.4e-07, 0.752192, 0.004157]]
    # R's p.adjust, to the digits printed
    np.testing.assert_allclose(found.p_holm, holm, rtol=1.1e-3)


def test_two_repertoires_that_never_mix_have_the_residuals_of_each() -> None:
    # The baboons above and the rain below: each alone is checked against R.
    parts = [table("5 5 3/97 83 95/68 138 184", "HML"), table("362 126 60/136 90 68/50 79 124", "nlm")]
    both = pd.concat(parts).fillna(0).astype(int)
    mixed = pd.concat([part > -1 for part in parts]).isna()
    found = transitions(both, mixed)
    for part in parts:
        residuals = found.residuals.loc[part.index, part.columns]
        np.testing.assert_allclose(residuals, transitions(part).residuals, rtol=1e-9)
    cells = both.stack()[~mixed.stack()]
    design = pd.get_dummies(cells.index.to_frame(index=False), prefix=["first", "next"], dtype=float)
    with warnings.catch_warnings(action="ignore"):  # of its rank, which is what is looked for
        reference = sm.GLM(cells.to_numpy(), design, family=sm.families.Poisson()).fit()
    assert (found.df, found.g2) == (reference.df_resid, pytest.approx(reference.deviance))


def test_an_empty_table_has_nothing_to_test() -> None:
    found = transitions(table("0 0/0 0", "ab"))
    assert found.df == 0
    assert np.isnan(found.p)
    assert "nothing can be tested" in found.sentence


def test_hair_and_eyes_are_scipys_and_statsmodels() -> None:
    # R's HairEyeColor, margin: X2 138.2898416, G2 146.4435785, df 9; blond and blue 9.967550121.
    from scipy.stats import chi2_contingency
    from statsmodels.stats.contingency_tables import Table

    counts = table("68 20 15 5/119 84 54 29/26 17 14 14/7 94 10 16", "abcd")
    found = transitions(counts)
    assert found.x2 == pytest.approx(138.2898416, abs=5e-8)
    assert found.g2 == pytest.approx(146.4435785, abs=5e-8)
    assert found.residuals.loc["d", "b"] == pytest.approx(9.967550121, abs=5e-10)
    reference = chi2_contingency(counts, correction=False)
    assert (found.x2, found.df, found.p) == (
        pytest.approx(reference.statistic),
        reference.dof,
        pytest.approx(reference.pvalue),
    )
    np.testing.assert_allclose(found.residuals, Table(counts, shift_zeros=False).standardized_resids)


@pytest.mark.parametrize(
    ("text", "x2", "g2", "df"),
    [  # invented tables; R's glm. Without regard to the zeros the first would give 126.6370, 142.0372, df 9.
        ("0 28 6 10/12 0 25 5/7 4 0 20/18 9 3 0", 58.51017511, 55.76956132, 5),
        ("0 10 5/4 0 12/9 7 0", 4.905533063, 5.003944384, 1),
    ],
)
def test_quasi_independence(text: str, x2: float, g2: float, df: int) -> None:
    counts = table(text, "DPIR"[: text.count("/") + 1])
    found = transitions(counts, diagonal(counts))
    assert (found.df, found.x2, found.g2) == (df, pytest.approx(x2, abs=6e-9), pytest.approx(g2, abs=6e-9))


def test_expected_counts_where_nothing_follows_itself() -> None:
    # Invented tables; R's glm and statsmodels agree. The first, blind to the zeros, would be X2 126.6370, G2 142.0372.
    counts = table("0 28 6 10/12 0 25 5/7 4 0 20/18 9 3 0", "DPIR")
    expected = """
    nan 17.86600453 12.92015834 13.21383713
    16.05646785 nan 12.82599684 13.11753531
    10.6107997 11.72057274 nan 8.66862756
    10.33273246 11.41342273 8.25384482 nan
    """
    np.testing.assert_allclose(transitions(counts, diagonal(counts)).expected, numbers(expected), atol=6e-9)
    blind = transitions(counts)
    assert (blind.df, blind.x2, blind.g2) == (9, pytest.approx(126.6370, abs=5e-5), pytest.approx(142.0372, abs=5e-5))
    three = table("0 10 5/4 0 12/9 7 0", "ABC")
    halves = [[np.nan, 7.5, 7.5], [6.5, np.nan, 9.5], [6.5, 9.5, np.nan]]
    np.testing.assert_allclose(transitions(three, diagonal(three)).expected, halves, atol=1e-9)


def test_rain_on_alofi_remembers_one_day() -> None:
    # Avery & Henderson 1999, Appl. Stat. 48:53 (from memory): 1,096 days without, with little, with much rain;
    # counts as in R's markovchain::rain. Independence of successive days: G2 192.0735871, df 4.
    found = transitions(table("362 126 60/136 90 68/50 79 124", "nlm"))
    shares = [
        [0.6605839416, 0.2299270073, 0.1094890511],
        [0.4625850340, 0.3061224490, 0.2312925170],
        [0.1976284585, 0.3122529644, 0.4901185771],
    ]
    np.testing.assert_allclose(found.probabilities, shares, atol=6e-11)
    assert (found.df, found.g2) == (4, pytest.approx(192.0735871, abs=5e-8))


def test_two_behaviours_that_only_alternate_test_nothing() -> None:
    counts = table("0 9/8 0", "AB")
    found = transitions(counts, diagonal(counts))
    assert found.df == 0
    assert np.isnan(found.p)
    assert "nothing can be tested" in found.sentence


def test_an_impossible_transition_that_was_counted_is_refused() -> None:
    counts = table("1 9/8 0", "AB")
    with pytest.raises(Refusal, match="impossible transition"):
        transitions(counts, diagonal(counts))


def test_where_few_were_expected_the_rows_have_no_p() -> None:
    # Cochran's rule, from memory: a residual means little where fewer than 5 were expected.
    counts = table("0 40 1/38 0 2/1 2 0", "ABC")
    rows = transitions(counts, diagonal(counts)).long()
    assert rows["few"].any()
    assert rows["p_holm"].isna().tolist() == rows["few"].tolist()
