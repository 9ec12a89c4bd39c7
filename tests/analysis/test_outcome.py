"""What came of pairings, against published numbers and against other libraries."""

import itertools
import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any, Literal

import numpy as np
import pandas as pd
import pytest
from scipy.stats import mannwhitneyu
from statsmodels.stats.proportion import proportion_confint

import etholog
from etholog import figures
from etholog.analysis import outcome
from etholog.analysis.incidence import by_time
from etholog.analysis.practice import practice_outcomes
from etholog.analysis.sentences.outcome import answer, of_season
from etholog.analysis.sign import signs, signs_seen
from etholog.animals import care
from etholog.base.language import speaking
from etholog.base.refusal import Refusal
from etholog.ethogram import at_hand
from etholog.season import part
from tests.make import CardLine, write_card

TODAY = date(2026, 11, 20)


@pytest.fixture(scope="module")
def season() -> etholog.Season:
    return etholog.read(Path(__file__).parents[2] / "examples" / "season")


# Hollander & Wolfe 1973, p. 69: permeability of human chorioamnion, as in the example of R's `wilcox.test`, which gives
# the shift 0.305 with 95 % limits -0.15 and 0.76 (from memory).
TERM = np.array([0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46])
EARLY = np.array([1.15, 0.88, 0.90, 0.74, 1.21])


def test_exact_limits_of_a_shift_as_published() -> None:
    assert outcome.exact_shift(TERM, EARLY) == pytest.approx((0.305, -0.15, 0.76))


@pytest.mark.parametrize("seed", range(5))
def test_the_limits_are_where_the_exact_test_turns(seed: int) -> None:
    """The interval is all shifts that scipy's exact test does not reject at 5 %."""
    chance = np.random.default_rng(seed)
    one, other = chance.normal(size=7), chance.normal(size=6)
    _, low, high = outcome.exact_shift(one, other)
    for shift, inside in ((low - 1e-9, False), (low + 1e-9, True), (high - 1e-9, True), (high + 1e-9, False)):
        assert (mannwhitneyu(one - shift, other, method="exact").pvalue > 0.05) == inside


def test_outcomes_look_at_no_other_bouts_than_they_say(season: etholog.Season, repository: Path) -> None:
    few = part(repository / "examples" / "season", outcome.looks_at)
    pd.testing.assert_frame_equal(etholog.outcomes(few, TODAY), etholog.outcomes(season, TODAY))
    assert set(few.bouts["behaviour"]) == {"on_silk", "drumming", "vibration", "leg_tapping", "insertion"}


def test_too_few_for_limits_have_none() -> None:
    shift, low, high = outcome.exact_shift(np.array([1.0, 2.0]), np.array([5.0]))
    assert shift == -3.5
    assert np.isnan(low)
    assert np.isnan(high)


@pytest.mark.parametrize(("m", "n"), [(1, 1), (2, 3), (4, 3)])
def test_the_null_distribution_by_going_through_all_orders(m: int, n: int) -> None:
    counts = np.zeros(m * n + 1)
    for ranks in itertools.combinations(range(m + n), m):
        counts[sum(ranks) - m * (m - 1) // 2] += 1
    assert outcome._rank_sum_counts(m, n) == pytest.approx(counts)


def test_the_funnel_and_the_waiting_say_one_number(season: etholog.Season) -> None:
    """Sacs of Clay, Fern, Rust and Sienna; Sepia moulted; Umbra, Moss and Sepia's second pairing are open, and count
    for as long as they have waited."""
    attempts = outcome.outcomes(season, TODAY)
    table = outcome.funnel(attempts).set_index("step")
    first = outcome.time_to_sac(attempts)
    day = table.loc["sac", "day"]
    assert day == sorted(attempts[attempts["may_have_taken"]]["days"])[-2]  # 8 attempts: a quarter are 2
    assert table.loc["sac", "share"] == first[first.index <= day]["sac"].iloc[-1]
    assert table.loc["sac", "of"] == 8
    assert table.loc["young", "of"] == 4
    known = table.dropna()
    assert (known["low"] <= known["share"]).all()
    assert (known["share"] <= known["high"]).all()


def test_sacs_that_came_after_the_day_of_the_share_are_told_apart() -> None:
    rows = ten_attempts().assign(left=False)
    said = {day: " ".join(of_season(rows, outcome.funnel(rows, day), TODAY)) for day in (5, 45, 75)}
    assert all("4 gave a sac" in one for one in said.values())
    assert "3 of the 4 sacs had come by day 45; the share counts these alone." in said[45]
    assert "sacs had come" not in said[75]  # all of them had
    assert "sacs had come" not in said[5]
    assert "By day 5 after the pairing none has a sac yet." in said[5]


def ten_attempts() -> pd.DataFrame:
    """The invented set of test_incidence, times ten."""
    return pd.DataFrame(
        {
            "days": [10.0, 20, 20, 30, 40, 50, 60, 60, 70, 80],
            "end": ["sac", "open", "moult", "sac", "sac", "moult", "open", "sac", "moult", "open"],
            "watched": False, "evidence": np.nan, "courted": False, "may_have_taken": True,
            "female": list("abcdefghij"), "males": list("ABCDEFGHIJ"), "sac_days": 1.0, "sac_end": "open",
            "insertion_s": np.nan, "insertions": np.nan, "palps": np.nan, "latency_s": np.nan,
        }
    )  # fmt: skip


def test_the_share_with_a_sac_by_a_day_is_rs() -> None:
    """R's survfit with open, sac and moult as states."""
    rows = ten_attempts()
    at = {day: outcome.funnel(rows, day).set_index("step").loc["sac"] for day in (35, 45, 75, 81)}
    assert at[35]["share"] == pytest.approx(0.2142857143)
    assert at[45]["share"] == pytest.approx(0.3285714286)
    assert at[75]["share"] == pytest.approx(0.4428571429)
    assert np.isnan(at[81]["share"])  # nobody was watched so long
    assert at[45][["reached", "of", "open"]].tolist() == [3, 10, 1]


def test_limits_of_a_share_with_a_sac_know_of_females_that_come_again() -> None:
    """Two of each female, who come to the same: limits are wider, of the same share; else they are as they were."""
    rows = pd.concat([ten_attempts(), ten_attempts()], ignore_index=True).drop(columns="males")
    once, alone, nameless = (
        outcome.funnel(table, 45).set_index("step").loc["sac"]
        for table in (rows, rows.assign(female=np.arange(20).astype(str)), rows.drop(columns="female"))
    )
    assert once["share"] == alone["share"]
    assert once["low"] < alone["low"] < alone["high"] < once["high"]
    assert alone.equals(nameless)
    assert by_time(outcome.time_to_sac(rows), "sac", 45)[2:] == (once["low"], once["high"])
    # Who come each to a sac once and once not are as unlike as strangers: not less wide than those.
    unlike = rows.iloc[:10].assign(days=50.0, end=["sac", "moult"] * 5, female=list("aabbccddee"))
    hers, apart = (outcome.funnel(t, 50).set_index("step").loc["sac"] for t in (unlike, unlike.drop(columns="female")))
    assert hers.equals(apart)


def test_limits_of_a_share_with_a_sac_know_of_males_that_come_again() -> None:
    """Five males whose attempts come to the same: wider limits of the same share; of three males, who say nothing of
    others, none, nor has the sentence or the curve."""
    days = ten_attempts()[["days", "end"]].iloc[[0, 1, 4, 6, 8]]
    rows = ten_attempts().assign(**days.loc[days.index.repeat(2)].reset_index(drop=True), left=False)
    fives, once, three = (
        outcome.funnel(rows.assign(males=males), 45).set_index("step").loc["sac"]
        for males in (list("AABBCCDDEE"), list("ABCDEFGHIJ"), list("AABBCCAABB"))
    )
    assert fives["share"] == once["share"] == three["share"]
    assert fives["low"] < once["low"] < once["high"] < fives["high"]
    assert np.isnan([three["low"], three["high"]]).all()
    few = rows.assign(males=list("AABBCCAABB"))
    assert "They are too few" in " ".join(of_season(few, outcome.funnel(few, 45), TODAY))
    assert figures.ends(outcome.time_to_sac(few)).get_supxlabel() == "No limits: under 4 have been watched."
    # Who is not known is no male that came again.
    assert outcome.funnel(rows.assign(males=""), 45).set_index("step").loc["sac"].equals(once)


def test_as_known_on_an_earlier_day(season: etholog.Season) -> None:
    early = outcome.outcomes(season, date(2026, 7, 20))
    assert (early["end"] == "sac").sum() == 1
    assert not (early["first_on"] > "2026-07-20").any()


@pytest.mark.parametrize(
    ("told", "days", "sac_days"),
    [
        ((), 100, np.nan),
        ((("sold", "2026-04-10", "Bert"),), 40, np.nan),
        ((("lent", "2026-04-10", "Bert"),), 100, np.nan),  # who lends hears of it
        ((("sold", "2026-04-10", "Bert"), ("got", "2026-05-01")), 100, np.nan),
        ((("sac", "2026-04-30"), ("sold", "2026-05-20", "Bert")), 60, 20),
        ((("sac", "2026-04-30"), ("pulled", "2026-05-15"), ("sold", "2026-05-20", "Bert")), 60, 40),
        ((("sold", "2026-04-10", "Bert"), ("sac", "2026-04-30")), 60, 40),  # the buyer told of it
    ],
)
def test_who_was_sold_waits_here_no_longer(
    told: tuple[CardLine, ...], days: float, sac_days: float, tmp_path: Path
) -> None:
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), ("paired", "2026-03-01", "M-1"), *told)
    rows = outcome.outcomes(etholog.read(tmp_path), date(2026, 6, 9))
    (row,) = rows.to_dict("records")
    assert row["days"] == days
    assert row["sac_days"] == pytest.approx(sac_days, nan_ok=True)
    assert row["left"] == (row["end"] == "open" and days < 100)
    if row["end"] == "open":
        ended = "1 open when she was sold or given away" if days < 100 else "1 still waits"
        assert f"transferred, {ended}. As known" in answer(rows, date(2026, 6, 9))
        with speaking("de"):
            assert ("davon 1 wartet noch." in answer(rows, date(2026, 6, 9))) == (days == 100)


@pytest.mark.parametrize(
    ("told", "days"),
    [
        ((), 40),
        ((("died", "2026-05-10"),), 10),
        ((("moult", "2026-05-10"),), 10),
        ((("count", "2026-05-10", "spiderlings", "90"),), 10),
        ((("sold", "2026-05-10", "Bert"),), 10),
        ((("pulled", "2026-05-10"), ("opened", "2026-05-30")), 10),
    ],
)
def test_a_sac_can_be_lost_only_while_it_is_with_her(told: tuple[CardLine, ...], days: float, tmp_path: Path) -> None:
    laid = (("practice", "2026-03-01", "cool rest"), ("paired", "2026-03-01", "M-1"), ("sac", "2026-04-30"))
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), *laid, *told)
    write_card(tmp_path, "F-2", ("sex", "2020", "female"), *laid[1:2], ("sac", "2026-04-30"))
    write_card(tmp_path, "F-2", ("practice", "2026-05-01", "cool rest"))
    table = practice_outcomes(etholog.read(tmp_path), "cool rest", date(2026, 6, 9)).table.set_index("outcome")
    assert table.loc["the sac lost", ["with_days", "without_days"]].sum() == 40 + days


@pytest.mark.parametrize(
    ("told", "end", "days"),
    [
        ((("count", "2026-06-05", "eggs", "0"),), "none", 35),
        ((("count", "2026-06-05", "eggs", "90"), ("count", "2026-06-15", "dead eggs", "90")), "none", 45),
        ((("opened", "2026-06-05", "bad eggs"),), "none", 35),
        ((("count", "2026-06-05", "eggs", "90"), ("count", "2026-06-15", "dead eggs", "80")), "open", 153),
        # Some that mould are taken out: of the others nothing is known.
        ((("count", "2026-06-05", "dead eggs", "5"),), "open", 153),
        (
            (
                ("count", "2026-06-05", "nymphs", "60"),
                ("placed", "2026-06-20", "Anna", "60"),
                ("count", "2026-07-01", "nymphs", "0"),
            ),
            "young",
            35,
        ),
        ((("count", "2026-06-05", "eggs with legs", "60"), ("count", "2026-06-20", "nymphs", "0")), "none", 50),
    ],
)
def test_a_sac_in_which_nothing_lives_waits_for_no_young(
    told: tuple[CardLine, ...], end: str, days: float, tmp_path: Path
) -> None:
    write_card(tmp_path, "M-1", ("sex", "2020", "male"))
    paired = ("paired", "2026-01-01", "M-1"), ("sac", "2026-05-01"), ("pulled", "2026-06-04")
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), ("species", "2020", "Brachypelma smithi"), *paired, *told)
    read = etholog.read(tmp_path)
    assert outcome.outcomes(read, date(2026, 10, 1))[["sac_end", "sac_days"]].to_numpy().tolist() == [[end, days]]
    tasks = care.due(read.animals, at_hand(tmp_path), date(2026, 6, 25))
    assert not tasks or end != "none"


def test_a_further_sac_without_a_pairing_is_no_attempt_of_its_own(tmp_path: Path) -> None:
    write_card(tmp_path, "M-1", ("sex", "2020", "male"))
    her = ("sex", "2020", "female"), ("paired", "2026-01-01", "M-1"), ("paired", "2026-01-08", "M-1")
    sacs = ("sac", "2026-05-01"), ("eaten", "2026-05-20"), ("sac", "2026-07-01"), ("eaten", "2026-07-10")
    write_card(tmp_path, "F-1", *her, *sacs, ("practice", "2026-07-05", "dark box"))
    season = etholog.read(tmp_path)
    table = outcome.outcomes(season, date(2026, 10, 1))
    assert table[["pairings", "end", "males", "days"]].to_numpy().tolist() == [
        [2, "sac", "M-1", 113],
        [0, "sac", "M-1", 174],
    ]
    assert answer(table, TODAY).startswith("Of 1 attempt in which sperm may have been transferred, 1 gave a sac.")
    assert outcome.funnel(table).set_index("step")["of"][["introduced", "sac", "young"]].tolist() == [1, 1, 1]
    assert signs_seen(season, TODAY)["attempt"].tolist() == [0]
    # Each of the two could be lost.
    lost = practice_outcomes(season, "dark box", TODAY).table.set_index("outcome").loc["the sac lost"]
    assert (lost["with_of"], lost["without_of"]) == (1, 2)


def test_time_to_sac_is_the_incidence_of_what_came_first(season: etholog.Season) -> None:
    """At the last end, of 8 attempts 3 were open for longer and 5 had ended, so the shares are 4 and 1 of 7 (the second
    pairing of Sepia is open since 76 days, less than the first end: it leaves the risk set)."""
    found = outcome.time_to_sac(outcome.outcomes(season, TODAY))
    assert found.iloc[-1][["sac", "moult"]].tolist() == pytest.approx([4 / 7, 1 / 7])
    assert found.index.name == "days"


def test_time_before_a_practice_counts_as_without_it(season: etholog.Season) -> None:
    """Counted by hand: Clay, Fern and Sienna had water while guarding and lost no sac, Rust had none and ate hers."""
    found = practice_outcomes(season, "water while guarding", TODAY)
    row = found.table.set_index("outcome").loc["the sac lost"]
    assert (row["with"], row["with_of"], row["without"]) == (0, 3, 1)
    assert np.isnan(row["p"])
    assert "too few for a p" in found.sentence
    assert "No female in both" in found.sentence
    rest = practice_outcomes(season, "cool rest", TODAY)
    assert rest.table["outcome"].tolist()[0] == "a sac"
    with pytest.raises(Refusal, match="did you mean 'cool rest'"):
        practice_outcomes(season, "cool test", TODAY)


@pytest.mark.parametrize(
    ("day", "reached", "open_", "share"),
    [(118, 0, 1, 0), (119, 1, 1, 1 / 7), (57, 0, 0, 0), (58, 0, 1, 0), (220, 4, 2, 4 / 7), (221, 4, 3, None)],
)
def test_by_a_day_is_with_that_day(
    day: int, reached: int, open_: int, share: float | None, season: etholog.Season
) -> None:
    """F-Clay laid after 119 days; F-Sepia has waited for 57, and who has waited longest for 220."""
    row = outcome.funnel(outcome.outcomes(season, date(2026, 11, 1)), day=day).set_index("step").loc["sac"]
    assert (row["reached"], row["open"]) == (reached, open_)
    assert np.isnan(row["share"]) if share is None else row["share"] == pytest.approx(share)


def test_from_when_to_when_a_practice_is_one_of_an_attempt(tmp_path: Path) -> None:
    rest, laid = ("practice", "2026-04-11", "cool rest"), ("sac", "2026-04-11")
    met = ("paired", "2026-01-01", "M-1")
    told: dict[str, list[CardLine]] = {
        # From the first pairing on 30 days without, 70 with; of the guarding 10 and 10.
        "F-1": [met, ("paired", "2026-02-01", "M-1"), laid, ("eaten", "2026-05-01"),
                *((rest[0], day, rest[2]) for day in ("2026-03-02", "2026-01-31", "2026-04-21"))],
        "F-2": [met, laid, *((rest[0], day, rest[2]) for day in ("2025-12-31", "2026-06-01"))],  # before and after
        "F-3": [met, laid, (rest[0], "2026-01-01", rest[2])],  # from its first day on
        "F-4": [met, laid, rest],  # on its last day: the sac came without
        "F-5": [("paired", "2026-01", "M-1"), laid],  # 70 to 100 days
        "F-6": [laid, rest],  # of no pairing
    }  # fmt: skip
    for name, lines in told.items():
        write_card(tmp_path, name, ("sex", "2020", "female"), *lines)
    found = practice_outcomes(etholog.read(tmp_path), "cool rest", date(2026, 6, 11)).table.set_index("outcome")
    heads = ["with", "with_of", "with_days", "without", "without_of", "without_days"]
    assert found.loc["a sac", heads].tolist() == [2, 3, 70 + 100, 3, 4, 30 + 100 + 100 + 85]
    assert found.loc["the sac lost", heads].tolist() == [1, 3, 10 + 10 + 61, 0, 4, 10 + 51 + 61 + 61]


def test_signs_count_those_that_came_to_nothing_too(season: etholog.Season) -> None:
    table = signs(signs_seen(season, TODAY)).set_index("sign")
    assert tuple(table.loc["closes her burrow", ["sacs", "of_sacs", "none", "of_none"]]) == (3, 4, 0, 1)
    assert tuple(table.loc["refuses food", ["sacs", "days_least", "days_most", "none"]]) == (2, 20.0, 23.0, 1)


def attempts_with(sign: list[bool], female: list[str], end: str = "sac") -> pd.DataFrame:
    rows = [
        {
            "female": she,
            "attempt": at,
            "end": end,
            "sign": "web" if came else None,
            "number": np.nan,
            "days": 9.0 * came,
        }
        for at, (came, she) in enumerate(zip(sign, female, strict=True))
    ]
    return pd.DataFrame(rows)


def test_shares_of_signs_have_limits_from_four_females_on() -> None:
    """Beside statsmodels. An attempt of each female counts n / (n - 1) less, as clusters do (Cameron et al. 2011)."""
    came = [True, True, True, False]
    (row,) = signs(attempts_with(came, ["F-1", "F-2", "F-3", "F-4"])).to_dict("records")
    np.testing.assert_allclose((row["sacs_low"], row["sacs_high"]), proportion_confint(9 / 4, 3, method="wilson"))
    assert (row["of_none"], row["limits"]) == (0, "without a sac: 0 females, and it takes 4")
    # Two attempts of each female that are alike are worth no more than one.
    (twice,) = signs(attempts_with(came * 2, ["F-1", "F-2", "F-3", "F-4"] * 2)).to_dict("records")
    np.testing.assert_allclose((twice["sacs_low"], twice["sacs_high"]), (row["sacs_low"], row["sacs_high"]))
    (few,) = signs(attempts_with(came * 2, ["F-1", "F-2", "F-3", "F-1"] * 2, "moult")).to_dict("records")
    assert np.isnan([few["none_low"], few["none_high"]]).all()
    assert few["limits"] == "before a sac: 0 females, and it takes 4; without a sac: 3 females, and it takes 4"


@pytest.mark.parametrize("size", ["column", "page"])
def test_signs_are_drawn_where_the_table_has_them(season: etholog.Season, size: Literal["column", "page"]) -> None:
    seen = signs_seen(season, TODAY)
    drawn = figures.signs(seen, size)

    def found(gid: str) -> list[Any]:
        return drawn.findobj(lambda artist: artist.get_gid() == gid)

    for name, rows in seen.groupby("sign"):
        (marks,) = found(f"sign:{name}")
        assert sorted(marks.get_xdata()) == sorted(-rows["days"])
    for row in signs(seen).to_dict("records"):
        (share,), (limits,) = found(f"share:{row['sign']}:sacs"), found(f"limits:{row['sign']}:sacs")
        assert list(share.get_xdata()) == [100 * row["sacs"] / row["of_sacs"]]
        np.testing.assert_allclose(limits.get_segments()[0][:, 0], [100 * row["sacs_low"], 100 * row["sacs_high"]])
        assert not found(f"limits:{row['sign']}:none")
    assert sum("few females" in text.get_text() for text in drawn.axes[1].texts) == len(signs(seen))
    open_only = figures.signs(seen[seen["end"] == "open"], size)
    assert len(open_only.axes) == 1


def test_where_no_small_p_is_possible_there_is_none(season: etholog.Season) -> None:
    table = outcome.evening_measures(outcome.outcomes(season, TODAY))
    assert table["measure"].tolist() == list(outcome.MEASURES)
    assert table["larger"].between(0, 1).all()
    assert table["p"].isna().all()  # four sacs and one moult


def evenings(female: list[str], sac: list[bool], value: list[float], males: list[str] | None = None) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "female": female, "may_have_taken": True, "watched": True, "end": np.where(sac, "sac", "moult"),
            "courted": True, "evidence": 5.0, "days": 30.0, "sac_days": np.nan, "sac_end": "open",
            "males": males or [f"M{at}" for at in range(len(value))],
            "insertion_s": value, "insertions": value, "palps": value, "latency_s": value,
        }
    )  # fmt: skip


def test_each_female_once_is_the_exact_rank_sum_test() -> None:
    chance = np.random.default_rng(7)
    sac, value = np.arange(12) % 2 == 0, chance.normal(size=12)
    table = outcome.evening_measures(evenings([f"F{at}" for at in range(12)], sac.tolist(), value.tolist()))
    row = table.iloc[0]
    assert row["compared"] == "females"
    assert row["p"] == pytest.approx(mannwhitneyu(value[sac], value[~sac], method="exact").pvalue)
    assert np.isfinite(row["low"])


def test_a_male_that_comes_again_counts_once() -> None:
    """Two possible sires in an attempt are two males; the attempts of both that come later say nothing new of them."""
    chance = np.random.default_rng(7)
    sac, value = np.arange(16) % 2 == 0, chance.normal(size=16)
    males = [*(f"M{at}, N{at}" for at in range(12)), "M0", "N1, X", "Y, M2", "M3, N3"]
    again = evenings([f"F{at}" for at in range(16)], sac.tolist(), value.tolist(), males)
    row = outcome.evening_measures(again).iloc[0]
    assert row["p"] == pytest.approx(mannwhitneyu(value[:12][sac[:12]], value[:12][~sac[:12]], method="exact").pvalue)
    assert (row["males"], row["females"], row["n_sac"]) == (26, 16, 8)
    assert outcome.evening_measures(again.assign(males="M0, N0"))[["p", "low"]].isna().all(axis=None)


def test_a_female_that_comes_again_is_compared_with_herself() -> None:
    """Matched sets: every order within a female by hand. With one sac a female in two attempts that is the sign of
    each difference: 6 females, 64 orders, 2 of them as far apart."""
    female = [f"F{at // 2}" for at in range(12)]
    value = [one + bonus for one in (10.0, 30, 50, 70, 90, 110) for bonus in (5, 0)]
    row = outcome.evening_measures(evenings(female, [True, False] * 6, value)).iloc[0]
    assert row["compared"] == "within females"
    assert row["p"] == row["smallest_p"] == 2 / 64
    assert np.isnan(row["low"])
    assert row["females"] == 6


def test_with_sacs_alone_there_is_no_effect() -> None:
    table = outcome.evening_measures(evenings(["a", "b"], [True, True], [1.0, 2.0]))
    assert table["n_none"].eq(0).all()
    assert table["p"].isna().all()


@pytest.mark.slow
def test_the_day_is_named_and_asked_for(repository: Path, etholog: Callable[..., CompletedProcess[str]]) -> None:
    folder = repository / "examples" / "season"
    done = etholog("outcome", "--today", "2026-11-20", "--day", "60", "--json", "--folder", folder)
    sac = next(row for row in json.loads(done.stdout)["funnel"] if row["step"] == "sac")
    assert sac["day"] == 60
    wrong = etholog("outcome", "--day", "0", "--folder", folder)
    assert wrong.returncode == 2
    assert "--day 0" in wrong.stderr


@pytest.mark.slow
def test_a_season_without_cards_or_sessions_says_so(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    (tmp_path / "sessions").mkdir()
    for words in ((), ("--each",), ("--signs",)):
        done = etholog("outcome", *words, "--json", "--folder", tmp_path)
        assert done.returncode == 0, done.stderr
        json.loads(done.stdout)


@pytest.mark.slow
def test_the_command_says_how_few_there_are(repository: Path, etholog: Callable[..., CompletedProcess[str]]) -> None:
    done = etholog("outcome", "--today", "2026-11-20", "--folder", repository / "examples" / "season")
    assert done.returncode == 0, done.stderr
    assert "8 attempts in which sperm may have been transferred, 3 of them still open" in done.stderr
    assert "4 measures of the evening were tried" in done.stderr


def test_of_a_pairing_that_nobody_watched_no_insertions_are_counted(tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("sex", "2020-01-01", "female"), ("paired", "2026-03-05", "M-1"))
    (tmp_path / "sessions").mkdir()
    found = outcome.outcomes(etholog.read(tmp_path), date(2026, 5, 9)).iloc[0]
    assert not found["watched"]
    assert found[["insertions", "insertion_s", "palps"]].isna().all()
