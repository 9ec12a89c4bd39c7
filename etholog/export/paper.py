"""A paper's kit: figures as PDF at a column's width, a methods paragraph with its sources, and a script in R that
recomputes the main comparison from the exported table alone.

The sources' volumes and pages are from memory.
"""

import platform
import shutil
from collections.abc import Callable, Iterator, Mapping
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from etholog import __version__, figures
from etholog.analysis.compare import Comparison, compare
from etholog.analysis.design import how_many
from etholog.analysis.duration import duration
from etholog.analysis.latency import latency
from etholog.analysis.survival import LIMITS_LEAST
from etholog.analysis.transition import transition
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.figures import ReproducibleFigure
from etholog.season import Season

FOLDER = "paper"
SCRIPT = "recompute.R"
LIBRARIES = ("numpy", "pandas", "scipy", "matplotlib")
SOURCES = {
    "altmann1974": (
        "Altmann, Jeanne", "Observational study of behavior: sampling methods", "Behaviour", 49, "227--267",
    ),
    "kaplan1958": (
        "Kaplan, E. L. and Meier, Paul", "Nonparametric estimation from incomplete observations",
        "Journal of the American Statistical Association", 53, "457--481",
    ),
    "brookmeyer1982": (
        "Brookmeyer, Ron and Crowley, John", "A confidence interval for the median survival time", "Biometrics", 38,
        "29--41",
    ),
    "mantel1966": (
        "Mantel, Nathan", "Evaluation of survival data and two new rank order statistics arising in its consideration",
        "Cancer Chemotherapy Reports", 50, "163--170",
    ),
    "heimann1998": (
        "Heimann, G. and Neuhaus, G.", "Permutational distribution of the log-rank statistic under random censorship"
        " with applications to carcinogenicity assays", "Biometrics", 54, "168--184",
    ),
    "phipson2010": (
        "Phipson, Belinda and Smyth, Gordon K.", "Permutation P-values should never be zero: calculating exact P-values"
        " when permutations are randomly drawn", "Statistical Applications in Genetics and Molecular Biology", 9, "39",
    ),
    "holm1979": (
        "Holm, Sture", "A simple sequentially rejective multiple test procedure", "Scandinavian Journal of Statistics",
        6, "65--70",
    ),
    "haberman1973": (
        "Haberman, Shelby J.", "The analysis of residuals in cross-classified tables", "Biometrics", 29, "205--220",
    ),
}  # fmt: skip


def write(season: Season, folder: Path, interval: str | None = None, seed: int = 0) -> None:
    """Write the kit into `folder`, beside the tables of an export.

    Raises Refusal where the ethograms have no such interval.
    """
    name = interval or main_interval(season)
    times = latency(season, name)
    found = compare(times, "male", seed=seed)
    folder.mkdir()
    for file, figure in _figures(season, times):
        (folder / f"{file}.pdf").write_bytes(figure.content("pdf"))
    expected(name, found).to_csv(folder / "expected.csv", index=False, lineterminator="\r\n", encoding="utf-8-sig")
    shutil.copyfile(Path(__file__).with_name(SCRIPT), folder / SCRIPT)
    text, cited = methods(season, times, found, seed)
    (folder / "methods.md").write_text(text, encoding="utf-8", newline="\n")
    (folder / "sources.bib").write_text(bibtex(cited), encoding="utf-8", newline="\n")


def main_interval(season: Season) -> str:
    """Return the interval that a paper is about where none is named: courtship, or the first that there is."""
    every = {i.name: kept.role_of_interval.get(i.name) for kept in season.ethograms.values() for i in kept.interval}
    if not every:
        raise Refusal(f"{season.folder}: its ethograms define no interval, so there is no latency to compare")
    return next((name for name, role in every.items() if role == "courtship"), next(iter(every)))


def _figures(season: Season, times: pd.DataFrame) -> Iterator[tuple[str, ReproducibleFigure]]:
    """Yield each figure by its file's name, as wide as a journal's column."""
    named, stages = figures.names(season), figures.stages(season)
    spans, found = duration(season), transition(season)
    draw: Mapping[str, Callable[[], ReproducibleFigure]] = {
        "latency-by-male": lambda: figures.survival(times, by="male", size="column"),
        "latency": lambda: figures.survival(times, size="column"),
        "time-shares": lambda: figures.time_shares(spans, named=named, size="column"),
        "transitions": lambda: figures.transitions(found, named, size="column", stages=stages),
        "flow": lambda: figures.flow(found, spans, named, size="column", stages=stages),
    }
    for file, one in draw.items():
        yield file, one()


def expected(interval: str, found: Comparison) -> pd.DataFrame:
    """Return what the comparison came to, a row each, for the script to set its own figures beside."""
    rows: list[tuple[str, str, float | None]] = [
        ("interval", interval, None),
        ("within", found.within or "", None),
        ("variance", "one" if found.one_variance else "each", None),
        ("horizon_s", "", found.horizon_s),
        ("p_error", "", found.permutation_error),
    ]
    if found.df:
        rows += [("chi_squared", "", found.statistic), ("df", "", found.df)]
    if found.usable:
        rows.append(("p", "", found.permutation_p))
    for male, row in found.table.iterrows():
        shown = ["n", "occurred", "median_s", "mean_s"]
        shown += ["median_low_s", "median_high_s"] if row["n"] >= LIMITS_LEAST else []
        rows += [(name, str(male), float(row[name])) for name in shown]
    return pd.DataFrame(rows, columns=["quantity", "group", "value"])


def methods(season: Season, times: pd.DataFrame, found: Comparison, seed: int) -> tuple[str, list[str]]:
    """Return the methods of what was really done, in Markdown with citations, and the keys that are cited."""
    about, label, sessions = times.attrs, str(times.attrs["label"]), season.sessions
    ethograms = sorted(set(sessions["ethogram"].astype(str)))
    unseen = "kept at risk" if about.get("unseen", "keep") == "keep" else "censored from there on"
    parts = [
        f"We recorded {many(len(sessions), 'session')} of {many(how_many(sessions['male']), 'male')} and"
        f" {many(how_many(sessions['female']), 'female')} continuously, all occurrences of a focal pair [@altmann1974],"
        f" by the ethogram{'s' * (len(ethograms) > 1)} {', '.join(ethograms)}.",
        f"{label[:1].upper()}{label[1:]} was measured in {many(len(times), 'session')}; it occurred in"
        f" {int(times['occurred'].sum())}, and the others are right-censored at the end of watching. Gaps, in which"
        f" nobody watched, do not count; time out of sight was {unseen}.",
        "Latencies are given as Kaplan-Meier estimates [@kaplan1958], medians with log-log limits"
        f" [@brookmeyer1982] from {LIMITS_LEAST} sessions on"
        + (f", and means within the first {found.horizon_s:g} s." if found.horizon_s > 0 else "."),
        _compared(found, seed),
        "Transitions were counted from onset to onset; adjusted residuals [@haberman1973] against quasi-independence,"
        " adjusted after Holm [@holm1979].",
        f"Computed with etholog {__version__}, Python {platform.python_version()},"
        f" {', '.join(f'{name} {version(name)}' for name in LIBRARIES)}. The script {SCRIPT} recomputes the comparison"
        " from the table of latencies with R's package survival alone.",
    ]
    text = "\n\n".join(["# Methods", *parts, f"What it came to: {found.sentence}"]) + "\n"
    return text, [key for key in SOURCES if f"@{key}" in text]


def _compared(found: Comparison, seed: int) -> str:
    """Return how males were compared, as far as they were."""
    if not found.permutations:
        return "Males were not compared; why is said below."
    how = (
        f"exactly, over all {found.permutations:,} labellings"
        if found.exact
        else f"by {found.permutations:,} random labellings (seed {seed}) [@phipson2010]"
    )
    each = "the variance of each labelling [@heimann1998]"
    if found.one_variance:
        by = "with one variance for all labellings, that of the scores under permutation"
    elif len(found.table) == 2:
        by = f"with {each}"
    else:
        by = (
            f"each labelling by the smaller of its ranks in two statistics, chi-squared with {each} and the sum of the"
            " squares of observed less expected events"
        )
    within = f" within {found.within}s" if found.within else ""
    said = f"Males were compared by the log-rank test{within} [@mantel1966], permuted {how}, {by}."
    if found.pairs["p"].notna().any():
        said += f" Pairs of males were compared by the same test with {each}, adjusted after Holm [@holm1979]."
    return said


def bibtex(keys: list[str]) -> str:
    """Return sources as BibTeX.

    >>> print(bibtex(["holm1979"]).splitlines()[0])
    @article{holm1979,
    """
    out = []
    for key in keys:
        author, title, journal, volume, pages = SOURCES[key]
        fields = {"author": author, "title": f"{{{title}}}", "journal": journal, "volume": str(volume), "pages": pages}
        fields["year"] = key[-4:]
        inside = ",\n".join(f"  {name} = {{{value}}}" for name, value in fields.items())
        out.append(f"@article{{{key},\n{inside}\n}}\n")
    return "\n".join(out)
