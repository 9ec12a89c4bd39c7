"""What is drawn is what the tables say."""

import numpy as np
import pandas as pd

from etholog import figures
from etholog.analysis.power import power


def test_each_male_beside_the_population() -> None:
    each = pd.DataFrame(
        {"sessions": [3, 4], "typical": [40.0, 300], "low": [10.0, 120], "high": [160.0, 900]}, index=["M-A", "M-B"]
    )
    axes = figures.repeatability(each, 95.0).axes[0]
    (dots,) = axes.findobj(lambda artist: artist.get_gid() == "typical")
    (bars,) = axes.findobj(lambda artist: artist.get_gid() == "limits")
    (middle,) = axes.findobj(lambda artist: artist.get_gid() == "population")
    np.testing.assert_array_equal(dots.get_xdata(), each["typical"])
    np.testing.assert_array_equal([part[:, 0] for part in bars.get_segments()], each[["low", "high"]])
    assert set(middle.get_xdata()) == {95.0}
    assert axes.get_xscale() == "log"
    assert not figures.repeatability(each.iloc[:0], np.nan).axes


def test_a_line_for_each_end_of_a_range() -> None:
    table = power(median_s=60, males=[2, 4], sessions=[2, 3], seasons=2)
    figure = figures.power(table)
    own = table[(table["sessions"] == 3) & (table["like"] == 0.4)]
    (line,) = figure.axes[2].findobj(lambda artist: artist.get_gid() == "differ:3:max")
    np.testing.assert_allclose(line.get_ydata(), own["differ"])
