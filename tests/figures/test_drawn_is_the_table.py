"""What is drawn is the table that is printed: the artists' data are read back and compared."""

from dataclasses import replace
from datetime import date
from typing import Literal

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, PathPatch
from matplotlib.text import Text
from statsmodels.duration.survfunc import SurvfuncRight

import etholog
from etholog import figures
from etholog.analysis.crossed import design_effect
from etholog.analysis.outcome import funnel, outcomes, time_to_sac
from etholog.analysis.plan import plan
from etholog.base.refusal import Refusal
from etholog.season import Season
from etholog.session.evidence import Evidence


def found(figure: Figure, gid: str) -> list:
    """All artists with this gid, in the order of the figure's axes."""
    return [artist for axes in figure.axes for artist in axes.findobj(lambda a: a.get_gid() == gid)]


def spans(figure: Figure, gid: str) -> list[tuple[float, float]]:
    """(onset, offset) of all bars with this gid."""
    return sorted((left, right) for left, right, _ in boxes(figure, gid))


def boxes(figure: Figure, gid: str) -> list[tuple[float, float, float]]:
    """(left, right, middle of its height) of all bars with this gid; five corners each."""
    return corners_of(found(figure, gid))


def all_boxes(axes: Axes) -> list[tuple[float, float, float]]:
    """As `boxes`, of all bars that stand in a panel."""
    return corners_of([patch for patch in axes.patches if isinstance(patch, PathPatch)])


def corners_of(bars: list) -> list[tuple[float, float, float]]:
    corners = [one.get_path().vertices.reshape(-1, 5, 2) for one in bars]
    return [
        (float(x.min()), float(x.max()), float(y.min() + y.max()) / 2)
        for five in corners
        for x, y in five.transpose(0, 2, 1)
    ]


def told(axes: Axes) -> list[str]:
    return [tick.get_text() for tick in axes.get_xticklabels()]


@pytest.mark.parametrize("by", ["male", "observer"])
def test_the_curves_are_statsmodels_product_limit_estimates(season: Season, by: str) -> None:
    times = etholog.latency(season, "courtship")
    figure = figures.survival(times, by=by)
    for name, rows in times.groupby(by, observed=True):
        (line,) = found(figure, f"curve:{name}")
        x, y = line.get_data()
        reference = SurvfuncRight(rows["latency_s"], rows["occurred"].astype(int))
        assert (x[0], y[0], x[-1]) == (0.0, 1.0, rows["latency_s"].max())
        at = np.asarray(reference.surv_times)
        after = np.array([y[x <= time][-1] for time in at])
        np.testing.assert_allclose(after, reference.surv_prob, atol=1e-12)
        assert set(np.round(x[1:-1], 9)) == set(np.round(at, 9))


def test_the_bands_are_the_limits_of_the_table(season: Season) -> None:
    from etholog.analysis.survival import kaplan_meier

    times = etholog.latency(season, "courtship")
    figure = figures.survival(times, by="male")
    for name, rows in times.groupby("male", observed=True):
        (band,) = found(figure, f"limits:{name}")
        table = kaplan_meier(rows["latency_s"].to_numpy(), rows["occurred"].to_numpy()).dropna()
        corners = np.vstack([path.vertices for path in band.get_paths()])
        for time, row in table.iterrows():
            heights = corners[np.isclose(corners[:, 0], time), 1]
            assert np.isclose(heights, row["low"]).any()
            assert np.isclose(heights, row["high"]).any()
            assert heights.min() >= 0
            assert heights.max() <= 1


def test_censored_sessions_have_ticks_and_the_numbers_at_risk_are_right(season: Season) -> None:
    times = etholog.latency(season, "courtship")
    figure = figures.survival(times, by="male")
    for name, rows in times.groupby("male", observed=True):
        (ticks,) = found(figure, f"censored:{name}")
        assert list(ticks.get_xdata()) == sorted(rows.loc[~rows["occurred"], "latency_s"])
        labels = found(figure, f"at risk:{name}")
        for label in labels:
            assert int(label.get_text().split("\n")[1]) == (rows["latency_s"] >= label.xy[0]).sum()
        assert [label.get_text().split("\n")[0] for label in labels] == ["0:00", "10:00", "20:00"]


def test_each_panel_of_many_curves_stands_apart_and_within_the_figure(season: Season) -> None:
    times = etholog.latency(season, "courtship")
    for size in ("page", "column"):
        figure = figures.survival(times, by="male", size=size)
        figure.draw_without_rendering()
        boxes = [
            line.get_window_extent() for name in times["male"].cat.categories for line in found(figure, f"curve:{name}")
        ]
        assert len(boxes) == 6
        assert not any(one.overlaps(other) for at, one in enumerate(boxes) for other in boxes[:at])
        for text in figure.findobj(Text):
            if text.get_text():
                seen = text.get_window_extent()
                assert figure.bbox.padded(1).containsx(seen.x0) and figure.bbox.padded(1).containsx(seen.x1)
                assert figure.bbox.padded(1).containsy(seen.y0) and figure.bbox.padded(1).containsy(seen.y1)


def test_few_groups_share_a_panel_and_differ_by_line_style_too(season: Season) -> None:
    figure = figures.survival(etholog.latency(season, "courtship"), by="observer")
    (axes,) = figure.axes
    curves = [line for line in axes.lines if str(line.get_gid()).startswith("curve:")]
    assert len({line.get_linestyle() for line in curves}) == len({line.get_color() for line in curves}) == 2
    counts = [[int(n) for n in words.split("\n")[1:]] for words in told(axes)]
    assert counts[0] == list(etholog.latency(season, "courtship").groupby("observer", observed=True).size())


def test_the_strip_has_every_bout_of_its_session_and_of_no_other(season: Season) -> None:
    name = "20260322-2043-M-Onyx-F-Sepia"
    figure = figures.strip(season, name)
    bouts = season.bouts[season.bouts["session"] == name]
    drawn = 0
    for (code, side), rows in bouts.groupby(["behaviour", "qualifier"], observed=True, dropna=False):
        lane = code if pd.isna(side) or (rows["kind"] == "event").all() else f"{code}:{side}"
        if (rows["kind"] == "event").all():
            (ticks,) = found(figure, f"events:{code}")
            onsets = sorted(float(segment[0][0]) for segment in ticks.get_segments())
            assert onsets == sorted(bouts.loc[bouts["behaviour"] == code, "onset_s"])
            drawn += len(rows)
            continue
        expected = sorted(zip(rows["onset_s"], rows["offset_s"], strict=True))
        np.testing.assert_allclose(spans(figure, f"bouts:{lane}"), expected)
        drawn += len(expected)
        cut = [x for line in found(figure, f"cut:{lane}") for x in line.get_xdata()]
        assert cut == list(rows.loc[~rows["whole"], "offset_s"])
    assert drawn == len(bouts)


def test_a_session_that_is_not_there_is_refused(season: Season) -> None:
    with pytest.raises(Refusal, match="no session 'x'"):
        figures.strip(season, "x")
    with pytest.raises(Refusal, match="say which session; there are 28"):
        figures.strip(season)


def test_gaps_are_drawn_where_they_are(season: Season) -> None:
    gap = season.gaps.iloc[0]
    figure = figures.strip(season, str(gap["session"]))
    np.testing.assert_allclose(spans(figure, "gap"), [(gap["onset_s"], gap["offset_s"])])


def test_aligned_sessions_are_sorted_and_their_dots_are_the_latencies(season: Season) -> None:
    times = etholog.latency(season, "courtship")
    figure = figures.aligned(season, times)
    order = times.sort_values(["latency_s", "session"])
    untouched = ~order["session"].isin(season.gaps["session"]).to_numpy()
    for gid, which in (("occurred", order["occurred"]), ("censored", ~order["occurred"])):
        (dots,) = found(figure, gid)
        at = {round(y): x for x, y in zip(*dots.get_data(), strict=True)}
        assert sorted(at) == list(np.flatnonzero(which))
        for row in np.flatnonzero(which.to_numpy() & untouched):
            assert at[row] == pytest.approx(order["latency_s"].iloc[row])
    rows = {name: at for at, name in enumerate(order["session"])}
    zero = season.bouts[season.bouts["behaviour"] == "on_silk"].groupby("session", observed=True)["onset_s"].min()
    for actor, height in (("female", -0.29), ("pair", -0.01), ("male", 0.27)):
        own = season.bouts[
            (season.bouts["actor"] == actor) & ~season.bouts["hides"] & (season.bouts["kind"] == "state")
        ]
        begins = own["onset_s"] - own["session"].map(zero).astype(float)
        expected = sorted(
            zip(own["session"].map(rows).astype(int) + height, begins, begins + own["duration_s"], strict=True)
        )
        drawn = sorted((at, left, right) for left, right, at in boxes(figure, f"bouts:{actor}"))
        np.testing.assert_allclose(drawn, expected, atol=1e-9)
    labels = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert labels == [f"{r.male} × {r.female}" for r in order.itertuples()]


def test_a_latency_over_a_gap_ends_where_the_behaviour_came(season: Season) -> None:
    """The latency's clock stands still in a gap; the dot must be on the first display all the same."""
    name = season.gaps["session"].iloc[0]
    times = etholog.latency(season, since="introduced", to="clasp")
    own = season.bouts[season.bouts["session"] == name]
    if not times.set_index("session").loc[name, "occurred"]:
        times = etholog.latency(season, since="introduced", to="retreats")
    figure = figures.aligned(season, times)
    row = list(times.sort_values(["latency_s", "session"])["session"]).index(name)
    (dots,) = found(figure, "occurred")
    at = {round(y): x for x, y in zip(*dots.get_data(), strict=True)}[row]
    onsets = own.set_index("behaviour")["onset_s"]
    came = onsets[times.attrs["to"][0]]
    assert at == pytest.approx(np.min(came) - onsets["introduced"])


def test_the_budget_is_the_table_of_durations(season: Season) -> None:
    durations = etholog.duration(season, by="male")
    figure = figures.time_shares(durations, by="male", named=figures.names(season))
    states = durations[durations["kind"] == "state"]
    for axes, (name, rows) in zip(figure.axes, states.groupby(states["male"].astype(str)), strict=True):
        assert axes.get_title(loc="left") == name
        widths = sum(right for _, right, _ in all_boxes(axes))
        assert widths == pytest.approx(100 * rows["share"].sum())
    lanes = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert "palpal drumming" in lanes
    bars = {round(middle): right for _, right, middle in all_boxes(figure.axes[0])}
    amber = states[(states["male"] == "M-Amber") & (states["behaviour"] == "drumming")]["share"].sum()
    assert bars[lanes.index("palpal drumming")] == pytest.approx(100 * amber)


@pytest.mark.parametrize("letters", [5, 15, 30])
@pytest.mark.parametrize("size", ["column", "page"])
@pytest.mark.parametrize("count", [2, 3, 8])
def test_few_transitions_and_long_labels_leave_cells(count: int, size: Literal["column", "page"], letters: int) -> None:
    codes = [f"{letter * letters}" for letter in "abcdefgh"[:count]]
    counts = pd.DataFrame(1, index=codes, columns=codes)
    figure = figures.transitions(etholog.transitions(counts), size=size)
    figure.content("svg")  # where nothing was left, matplotlib would warn, which is an error here
    assert (
        figure.axes[0].get_position().height * figure.get_size_inches()[1] / count > 0.069
    )  # inches: a number of 5 points


def test_the_heat_map_is_the_table_of_residuals_with_the_counts_in_it(season: Season) -> None:
    result = etholog.transition(season, actor="male")
    figure = figures.transitions(result)
    (mesh,) = found(figure, "residuals")
    drawn = np.ma.filled(mesh.get_array().astype(float), np.nan)
    np.testing.assert_array_equal(drawn, result.residuals.to_numpy())
    # A shade is a step of 2 and 4 (Meyer, Zeileis & Hornik 2006), and those under 2 are grey, as nothing is.
    shades = {tuple(np.round(mesh.cmap(mesh.norm(value)), 3)) for value in (-9.0, -4.1, -3.0, 0.0, 1.9, 3.0, 4.1, 9.0)}
    assert len(shades) == 5
    assert mesh.cmap(mesh.norm(-1.9)) == mesh.cmap(mesh.norm(1.9)) != mesh.cmap(mesh.norm(2.1))
    counts = result.counts
    assert len(boxes(figure, "impossible")) == counts.isna().to_numpy().sum() == len(counts)
    for row in result.long().itertuples():
        (text,) = found(figure, f"count:{row.first}>{row.next}")
        sure = row.p_holm < 0.05 and not row.few
        assert text.get_text() == f"{row.count:.0f}" + "*" * int(sure)
        at = list(counts.index).index(row.first), list(counts.columns).index(row.next)
        assert text.get_position() == (at[1] + 0.5, at[0] + 0.5)
    shown = figure.axes[0].findobj(lambda a: str(a.get_gid()).startswith("count:"))
    assert len(shown) == (np.nan_to_num(counts.to_numpy()) > 0).sum()


def test_the_heat_map_and_the_diagram_have_one_order(season: Season) -> None:
    result, stages = etholog.transition(season), figures.stages(season)
    heat = figures.transitions(result, stages=stages).axes[0]
    graph, matrix = figures.flow(result, etholog.duration(season), stages=stages).axes
    orders = [[tick.get_text() for tick in ticks] for ticks in (
        heat.get_yticklabels(), heat.get_xticklabels(), graph.get_yticklabels(), matrix.get_xticklabels()
    )]  # fmt: skip
    assert orders == [orders[0]] * 4
    assert orders[0] != [figures.style.label(code, None) for code in result.counts.index]
    assert (heat.get_ylabel(), heat.get_xlabel()) == (graph.get_ylabel(), matrix.get_xlabel()) == ("first", "next")


def test_the_diagram_has_the_arcs_that_hold_and_a_matrix_of_all(season: Season) -> None:
    result = etholog.transition(season)
    figure = figures.flow(result, etholog.duration(season), figures.names(season), stages=figures.stages(season))
    long = result.long()
    sure = np.array([bool(result.certain.at[r.first, r.next]) for r in long.itertuples()])
    kept = long[(long["residual"] > 0) & (long["count"] >= 3) & sure]
    graph, matrix = figure.axes
    arrows = graph.findobj(FancyArrowPatch)
    assert len(kept) > 0
    assert sorted(arrow.get_gid() for arrow in arrows) == sorted(f"{r.first}>{r.next}" for r in kept.itertuples())
    widths = {arrow.get_gid(): arrow.get_linewidth() for arrow in arrows}
    drawn = [widths[f"{r.first}>{r.next}"] for r in kept.sort_values("probability").itertuples()]
    assert drawn == sorted(drawn)
    for row in long.itertuples():  # the matrix has all that came
        (text,) = found(figure, f"share:{row.first}>{row.next}")
        assert text.get_text() == f"{row.probability:.2f}".removeprefix("0")
        assert len(found(figure, f"frame:{row.first}>{row.next}")) == (f"{row.first}>{row.next}" in widths)
    share = etholog.duration(season).groupby("behaviour", observed=True)["share"].sum()
    (walking,), (clasp,) = found(figure, "node:walking"), found(figure, "node:clasp")
    least = 16.0
    areas = (walking.get_sizes()[0] - least) / (clasp.get_sizes()[0] - least)
    assert areas == pytest.approx(share["walking"] / share["clasp"])
    order = [tick.get_text() for tick in graph.get_yticklabels()]
    assert order == [tick.get_text() for tick in matrix.get_xticklabels()]
    at = {
        code: order.index(figures.names(season)[code])
        for code in ("introduced", "drumming", "clasp", "insertion", "flees")
    }
    assert list(at.values()) == sorted(at.values())  # search, courtship, contact, copulation, separation


def test_palps_are_on_their_sides(season: Season) -> None:
    figure = figures.palps(season)
    insertions = season.bouts[season.bouts["behaviour"] == "insertion"]
    rows = [name for name in season.sessions["session"] if name in set(insertions["session"])]
    first = insertions.groupby("session", observed=True)["onset_s"].min()
    for side, sign in (("left", -1), ("right", 1)):
        own = insertions[insertions["qualifier"] == side]
        begins = own["onset_s"] - own["session"].map(first).astype(float)
        expected = sorted(zip((rows.index(name) for name in own["session"]), begins, own["duration_s"], strict=True))
        drawn = sorted((round(at - 0.2 * sign), left, right - left) for left, right, at in boxes(figure, side))
        np.testing.assert_allclose(drawn, expected)


def test_the_agreement_is_its_table(second_record: tuple[Season, Season]) -> None:
    first, second = second_record
    result = etholog.agreement(first.bouts, second.bouts)
    figure = figures.agreement(result, figures.names(first))
    for gid, column in (("agreed", "agreed"), ("kappa", "kappa"), ("difference", "difference_s")):
        (line,) = found(figure, gid)
        np.testing.assert_array_equal(line.get_xdata(), result.table[column])
    labels = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert any(label.startswith("insertion, left  1 | 1") for label in labels)


def timed(behaviour: str, *seconds: float) -> pd.DataFrame:
    onset = 100.0 * np.arange(len(seconds))
    return pd.DataFrame(
        {"behaviour": behaviour, "kind": "state", "onset_s": onset, "offset_s": onset + np.array(seconds)}
    )


def test_differences_stand_against_their_means_between_their_limits() -> None:
    first, second = (3.0, 5.0, 8.0, 13.0, 21.0, 34.0), (3.5, 4.0, 8.0, 15.0, 20.5, 37.0)
    result = etholog.agreement(timed("clasp", *first), timed("clasp", *second))
    assert list(result.pairs["first_s"]) == list(first) and list(result.pairs["second_s"]) == list(second)
    figure = figures.differences(result, size="column")
    (marks,) = found(figure, "difference:clasp")
    apart = np.subtract(second, first)
    np.testing.assert_allclose(marks.get_xdata(), np.add(first, second) / 2)
    np.testing.assert_allclose(marks.get_ydata(), apart)
    # Bland & Altman 1986, Lancet 327:307: the mean, and 1.96 standard deviations either way.
    for name, at in (("difference", 0), ("low", -1.96), ("high", 1.96)):
        (line,) = found(figure, f"line:{name}")
        assert line.get_ydata()[0] == pytest.approx(apart.mean() + at * apart.std(ddof=1))
    # Their limits: about as wide as by the standard error of Bland & Altman 1999, sqrt(3 s2 / n), with t of 5 df.
    assert found(figure, "limits:difference")
    (band,) = found(figure, "limits:high")
    half = 2.5706 * np.sqrt(3 * apart.var(ddof=1) / 6)
    assert band.get_height() == pytest.approx(2 * half, rel=0.25)
    assert figure.get_supxlabel() == ""
    few = figures.differences(etholog.agreement(timed("clasp", 3, 5), timed("clasp", 4, 5)))
    assert few.get_supxlabel() == "No limits: under 5 bouts that both saw whole."
    assert found(few, "limits:high") == found(few, "line:low") == []
    alike = figures.differences(etholog.agreement(timed("clasp", *first), timed("clasp", *first)))
    assert alike.get_supxlabel() == "No limits: all differences are alike."
    (text,) = figures.differences(etholog.agreement(timed("clasp"), timed("clasp"))).texts
    assert text.get_text().startswith("No bout of a state was seen whole by both")


def wilson(share: float, n: float) -> list[float]:
    z2 = 1.959964**2
    middle, half = share + z2 / (2 * n), np.sqrt(z2 * (share * (1 - share) / n + z2 / (4 * n**2)))
    return [100 * (middle + s * half) / (1 + z2 / n) for s in (-1, 1)]


def test_the_funnel_is_its_table_with_wilsons_limits_of_what_the_attempts_are_worth(season: Season) -> None:
    attempts = outcomes(season, date(2026, 11, 1))
    steps = funnel(attempts)
    figure = figures.funnel(steps)
    (dots,), (bars,) = found(figure, "share"), found(figure, "limits")
    np.testing.assert_allclose(dots.get_xdata(), 100 * steps["share"])
    # There is no attempt without an introduction, so nothing is estimated of that.
    assert steps["low"].isna().tolist() == [step == "introduced" for step in steps["step"]]
    segments = [segment for segment in bars.get_segments() if len(segment)]
    for segment, row in zip(segments, steps[1:].itertuples(), strict=True):
        np.testing.assert_allclose(segment[:, 0], [100 * row.low, 100 * row.high])
        if row.day == row.day:
            continue
        # Wilson 1927: the p at which the score test has |z| = 1.96. Attempts of one animal are worth fewer, unless all
        # came to the same.
        plain = wilson(row.reached / row.of, row.of)
        if row.reached == row.of:
            np.testing.assert_allclose(segment[:, 0], plain, atol=1e-4)
        else:
            came = attempts[attempts["watched"]]["evidence"] >= Evidence.CLASP
            of = attempts[attempts["watched"]]
            animals = (pd.factorize(of[name])[0] for name in ("males", "female"))
            worth = row.of / design_effect(came.to_numpy(), *animals)
            assert worth < row.of
            np.testing.assert_allclose(segment[:, 0], wilson(row.reached / row.of, worth), atol=1e-4)
            assert segment[0, 0] < plain[0] < plain[1] < segment[1, 0]
    labels = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert labels[-2] == f"sac by day {steps['day'].iloc[-2]:.0f}"
    shown = [found(figure, f"count:{at}")[0].get_text() for at in range(len(steps))]
    assert (
        shown[-2] == f"{steps['reached'].iloc[-2]} of {steps['of'].iloc[-2]}, {steps['open'].iloc[-2]} not so long yet"
    )


def test_ends_are_the_shares_that_came_to_each(season: Season) -> None:
    shares = time_to_sac(outcomes(season, date(2026, 11, 1)))
    figure = figures.ends(shares)
    assert figure.axes[0].get_xlabel() == "days, and how many still waited"
    for cause in ("sac", "moult"):
        (line,) = found(figure, f"share:{cause}")
        assert list(line.get_xdata()[1:-1]) == list(shares.index)
        assert list(line.get_ydata()[1:-1]) == list(shares[cause])
    assert figure.get_supxlabel() == ""
    assert sum(line.get_ydata()[-1] for line in figure.axes[0].lines) <= 1 + 1e-12
    last = shares[[name for name in shares if not str(name).startswith("se_")]].iloc[-1]
    (legend,) = figure.legends  # as the curves end, from the highest down
    assert [text.get_text() for text in legend.get_texts()] == list(
        last.sort_values(ascending=False, kind="stable").index
    )


def test_females_who_wait_twice_vary_in_the_limits_of_ends_as_in_the_table(season: Season) -> None:
    attempts = outcomes(season, date(2026, 11, 1))
    shares = time_to_sac(attempts)
    (limits,) = found(figures.ends(shares), "limits:sac")
    edges = limits.get_paths()[0].vertices
    steps = [funnel(attempts, day=float(day)).set_index("step").loc["sac"] for day in shares.index]
    drawn = [step for step in steps if np.isfinite(step["low"])]
    assert attempts["female"].duplicated().any() and len(drawn) > 1
    for step in drawn:
        own = edges[np.isclose(edges[:, 0], step["day"]), 1]
        assert np.isclose(own, step["low"]).any() and np.isclose(own, step["high"]).any()
    # Of how many animals they are must be known, and four be among them.
    nameless = figures.ends(time_to_sac(attempts.drop(columns="female")))
    assert nameless.get_supxlabel() == "No limits: an animal is in it more than once."
    three = attempts["female"].isin(attempts.loc[attempts["end"] == "sac", "female"].unique()[:3])
    assert figures.ends(time_to_sac(attempts[three])).get_supxlabel() == "No limits: under 4 have been watched."


def test_a_curve_without_limits_says_why(season: Season) -> None:
    # That uncertainty is shown, or said to be missing: Pocock, Clayton & Altman 2002, Lancet 359:1686.
    times = etholog.latency(season, "courtship")
    assert figures.survival(times).get_supxlabel() == "No limits: an animal is in it more than once."
    alone = times.drop_duplicates("male").drop_duplicates("female")
    assert figures.survival(alone.iloc[:3]).get_supxlabel() == "No limits: under 4 have been watched."
    assert found(limited := figures.survival(alone), "limits:all") and limited.get_supxlabel() == ""


def test_the_agreement_of_one_day_has_an_axis_of_days(second_record: tuple[Season, Season]) -> None:
    (axes,) = figures.drift(etholog.observers([second_record])).axes
    first, last = axes.get_xlim()  # in days, as matplotlib counts them
    assert 1 < last - first < 4
    assert [tick.get_text() for tick in axes.get_xticklabels()] == ["2026-03-06"]


def test_the_day_of_an_agreement_is_that_of_the_clock_on_the_wall(second_record: tuple[Season, Season]) -> None:
    first, second = second_record
    late = pd.Timestamp("2026-03-07 02:30", tz="UTC")  # half past nine in the evening, five hours behind UTC
    there = replace(first, sessions=first.sessions.assign(began=late, utc_offset_min=-300))
    (axes,) = figures.drift(etholog.observers([(there, second)])).axes
    assert [tick.get_text() for tick in axes.get_xticklabels()] == ["2026-03-06"]


def test_ends_have_their_limits_and_how_many_still_waited() -> None:
    times = pd.DataFrame(
        {"latency_s": [60.0, 90.0, 130.0, 130.0, 250.0, 300.0], "why": ["a", None, "b", "a", "a", None]}
    )
    shares = etholog.incidence(times, "why")
    figure = figures.ends(shares, size="column")
    (limits,) = found(figure, "limits:a")
    told = limits.get_paths()[0].vertices
    assert figure.get_supxlabel() == ""
    few = etholog.incidence(times.iloc[:3], "why")
    assert figures.ends(few).get_supxlabel() == "No limits: under 4 have been watched."
    share, se = shares["a"].iloc[0], shares["se_a"].iloc[0]
    half = 1.959964 * se / (share * np.log(share))
    for edge in (share ** np.exp(half), share ** np.exp(-half)):
        assert np.isclose(told[:, 1], edge, atol=1e-6).any()
    figure.draw_without_rendering()
    ticks = [tick.get_text().split("\n") for tick in figure.axes[0].get_xticklabels()]
    seconds = {clock: int(clock.split(":")[0]) * 60 + int(clock.split(":")[1]) for clock, _ in ticks}
    assert all(int(left) == (times["latency_s"] >= seconds[clock]).sum() for clock, left in ticks)
    assert len(ticks) > 2


def test_nothing_to_draw_is_said(season: Season) -> None:
    times = etholog.latency(season, "courtship").iloc[:0]
    empty = etholog.transition(season, sessions=[])
    for figure in (
        figures.survival(times, by="male"),
        figures.aligned(season, times),
        figures.time_shares(etholog.duration(season).iloc[:0]),
        figures.time_shares(etholog.duration(season, by="male").assign(male=None), by="male"),
        figures.transitions(empty),
        figures.flow(empty, etholog.duration(season)),
        figures.palps(season, "strike_of_lightning"),
        figures.funnel(funnel(outcomes(season, date(2026, 11, 1))).iloc[:0]),
        figures.ends(time_to_sac(outcomes(season, date(2026, 11, 1)).iloc[:0])),
    ):
        (text,) = figure.texts
        assert text.get_text().endswith((".", "draw."))
        assert figure.content("png")


def test_notes_and_rescues_stand_above_the_lanes_at_their_times(season: Season) -> None:
    told = [(12.5, "note"), (300.0, "rescue"), (480.0, "note"), (500.0, "gap")]
    figure = figures.strip(season, "20260322-2043-M-Onyx-F-Sepia", moments=told)
    (notes,), (rescues,) = (found(figure, f"moments:{kind}") for kind in ("note", "rescue"))
    assert list(notes.get_xdata()) == [12.5, 480.0]
    assert list(rescues.get_xdata()) == [300.0]
    assert {notes.get_marker(), rescues.get_marker()} == {"*", "X"}


def season_twice(season: Season) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The bouts of one session, and the same each a little longer."""
    bouts = season.bouts[season.bouts["session"] == season.sessions["session"].iloc[0]]
    return bouts, bouts.assign(offset_s=bouts["offset_s"] + 0.1 * np.arange(len(bouts)))


@pytest.mark.parametrize("size", ["column", "page"])
def test_no_word_leaves_the_figure(season: Season, size: Literal["column", "page"]) -> None:
    kept, day = list(season.ethograms.values()), date(2026, 3, 1)
    attempts = outcomes(season, date(2026, 11, 20))
    each = pd.DataFrame({"sessions": [3, 4], "typical": [40, 90], "low": [20, 50], "high": [80, 260]}, ["M-A", "M-B"])
    trace = pd.DataFrame({"film_s": [0.0, 30.0, 60.0], "strength": [0.2, 3.0, 0.1]})
    stretches = pd.DataFrame({"onset_s": [20.0], "offset_s": [40.0], "disturbed": [False]})
    designs = etholog.power(median_s=300, males=[4, 6], sessions=[3, 5], seasons=2)
    for figure in (
        figures.signs(etholog.signs_seen(season, date(2026, 11, 20)), size),
        figures.ends(time_to_sac(attempts), size),
        figures.funnel(funnel(attempts), size),
        figures.repeatability(each, 60.0, size),
        figures.power(designs, size),
        figures.plan(plan(season.animals, kept, day, species="Brachypelma smithi"), size),
        figures.activity(trace, stretches, size),
        figures.differences(etholog.agreement(*season_twice(season)), figures.names(season), size),
    ):
        figure.draw_without_rendering()
        box = figure.get_tightbbox()
        wide, high = figure.get_size_inches()
        assert min(box.x0, box.y0, wide - box.x1, high - box.y1) > -0.01, figure.axes
