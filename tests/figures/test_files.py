"""Figures as files: the same bytes, fonts inside, readable in grey, and the pictures that they were when looked at."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import matplotlib
import numpy as np
import pypdf
import pytest
from matplotlib.colors import to_rgb
from matplotlib.testing.compare import compare_images

import etholog
from etholog import figures
from etholog.figures.style import ACTORS, GROUPS, ReproducibleFigure, filled
from etholog.season import Season

pytestmark = pytest.mark.slow

# Okabe & Ito 2008, Color Universal Design (https://jfly.uni-koeln.de/color/), as hexadecimals.
OKABE_ITO = {"#000000", "#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7"}
BASELINE = Path(__file__).parent / "baseline"

SCRIPT = """
import hashlib, sys, etholog
from etholog import figures
season = etholog.read("examples/season")
times = etholog.latency(season, "courtship")
found = etholog.transition(season)
durations = etholog.duration(season)
for figure in (figures.survival(times, by="male"), figures.strip(season, "20260322-2043-M-Onyx-F-Sepia"),
               figures.transitions(found), figures.flow(found, durations)):
    for kind in ("svg", "pdf", "png"):
        print(hashlib.sha256(figure.content(kind)).hexdigest())
print("pyplot:", "matplotlib.pyplot" in sys.modules)
"""


def test_bytes_are_the_same_in_every_process_and_pyplot_stays_out(repository: Path) -> None:
    runs = [
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            cwd=repository,
            env=os.environ | {"PYTHONHASHSEED": seed, "TZ": zone},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    ]
    assert runs[0] == runs[1]
    assert len(set(runs[0].splitlines())) == 13
    assert "pyplot: False" in runs[0]


def test_the_users_own_settings_change_nothing(season: Season) -> None:
    times = etholog.latency(season, "courtship")
    plain = figures.survival(times, by="male").content("svg")
    with matplotlib.rc_context({"font.size": 30, "axes.facecolor": "red", "svg.fonttype": "none"}):
        assert figures.survival(times, by="male").content("svg") == plain
        assert matplotlib.rcParams["font.size"] == 30


def test_fonts_are_in_the_files(season: Season, tmp_path: Path) -> None:
    figure = figures.survival(etholog.latency(season, "courtship"), by="male")
    figure.savefig(tmp_path / "a.pdf")
    figure.savefig(str(tmp_path / "a.svg"))
    pdf = (tmp_path / "a.pdf").read_bytes()
    assert b"/FontFile2" in pdf  # PDF 32000-1:2008, 9.9: an embedded TrueType font program
    assert b"/Type3" not in pdf
    assert b"CreationDate" not in pdf
    svg = (tmp_path / "a.svg").read_text()
    assert "<text" not in svg  # letters are outlines, so no font is asked for
    assert "<dc:date>" not in svg


def test_a_letter_that_our_font_lacks_is_drawn_in_an_installed_one_that_has_it(tmp_path: Path) -> None:
    fonts = tmp_path / "share" / "fonts"
    fonts.mkdir(parents=True)
    shutil.copy(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "STIXGeneral.ttf", fonts)
    # STIX, which comes with matplotlib, has a letter in a circle that its DejaVu Sans lacks.
    draw = """
from etholog import figures
with figures.style.rules():
    figure = figures.style.plate("column", 1)
    figure.subplots().set_yticks([0, 1], ["M-Flint", "M-\\N{CIRCLED LATIN CAPITAL LETTER B}"])
figure.savefig("a.pdf")
"""
    script = [sys.executable, "-c", draw]
    subprocess.run(script, cwd=tmp_path, check=True, env=os.environ | {"XDG_DATA_HOME": str(fonts.parent)})
    (page,) = pypdf.PdfReader(tmp_path / "a.pdf").pages
    used = {str(font.get_object()["/BaseFont"]) for font in page["/Resources"]["/Font"].values()}  # type: ignore[index]
    assert len(used) == 2
    assert any("DejaVuSans" in name for name in used)


def test_a_name_written_from_right_to_left_turns_no_number_round() -> None:
    """Unicode Standard Annex 9: a line that begins so would be laid out so, and '4 of 5' read as '5 of 4'."""

    def last_glyphs(name: str) -> list[str]:
        with figures.style.rules():
            figure = figures.style.plate("column", 1)
            figure.text(0, 0, f"{figures.style.plain(name)}: 4 of 5")
        return re.findall(r'<use xlink:href="#(\S+)"', figure.content("svg").decode())[-len(": 4 of 5") :]

    assert last_glyphs("كهرمان") == last_glyphs("M-Amber")


def test_colours_are_okabe_and_itos_and_each_is_said_again_in_grey() -> None:
    assert {look.colour for look in ACTORS.values()} <= OKABE_ITO
    assert {look.colour for look in GROUPS[1:]} <= OKABE_ITO
    assert not {look.colour for look in ACTORS.values()} & {look.colour for look in GROUPS}
    assert len({look.hatch for look in ACTORS.values()}) == len(ACTORS)
    assert len({look.line for look in ACTORS.values()}) == len(ACTORS)
    assert len({look.line for look in GROUPS}) == len(GROUPS)
    # WCAG 2.2, 1.4.11: what must be seen has 3 : 1 against its ground, by the relative luminance of its definition.
    for look in ACTORS.values():
        assert contrast(look.colour, "#ffffff") >= 3
        assert filled(look)["edgecolor"] == look.colour


def contrast(one: str, other: str) -> float:
    def luminance(colour: str) -> float:
        parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
        return float(np.dot(parts, (0.2126, 0.7152, 0.0722)))

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("name", ["$x^2$", "$", "a$b", "\x1b[31m", "<script>", "{\\rm x}", "\u202e", "線" * 3, "a\nb"])
def test_names_are_drawn_as_they_are_written(season: Season, name: str) -> None:
    times = etholog.latency(season, "courtship")
    figure = figures.survival(times.assign(male=[name, "another"] * (len(times) // 2)), by="male")
    assert figure.content("png")  # and no warning, which the test settings would make an error
    assert figures.style.plain(name) in [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    shown = figures.style.plain(name)
    assert shown.isprintable()
    assert shown.count("$") == shown.count(r"\$")


def test_column_and_page_are_of_their_width(season: Season) -> None:
    times = etholog.latency(season, "courtship")
    assert figures.survival(times, size="column").get_figwidth() * 25.4 == pytest.approx(89, abs=0.2)
    assert figures.survival(times, size="page").get_figwidth() * 25.4 == pytest.approx(183, abs=0.2)


def test_a_thousand_sessions_still_make_a_picture(season: Season) -> None:
    times = etholog.latency(season, "courtship")
    many = times.loc[times.index.repeat(40)].reset_index(drop=True)
    many.attrs = times.attrs
    figure = figures.aligned(season, many)
    assert len(many) > 1000
    assert figure.get_figheight() * 200 < 2**16  # the format's and matplotlib's own limit
    assert figure.axes[0].get_yticklabels() == []
    assert figure.content("png", dpi=20)


def test_a_notebook_shows_it(season: Season) -> None:
    assert figures.palps(season)._repr_png_().startswith(b"\x89PNG")


def pictures(season: Season) -> dict[str, Callable[[], ReproducibleFigure]]:
    times = etholog.latency(season, "courtship")
    return {
        "survival": lambda: figures.survival(times, by="male", size="column"),
        "strip": lambda: figures.strip(season, "20260322-2043-M-Onyx-F-Sepia", size="column"),
        "transitions": lambda: figures.transitions(etholog.transition(season, actor="male"), size="column"),
        "flow": lambda: figures.flow(etholog.transition(season), etholog.duration(season), size="column"),
    }


# Root mean square of the differences, of 255: letters are drawn a little otherwise by other versions of FreeType.
TOLERANCE = 8.0


@pytest.mark.parametrize("name", ["survival", "strip", "transitions", "flow"])
def test_the_picture_is_the_one_that_was_looked_at(season: Season, tmp_path: Path, name: str) -> None:
    drawn = tmp_path / f"{name}.png"
    pictures(season)[name]().savefig(drawn, dpi=70)
    baseline = BASELINE / f"{name}.png"
    if os.environ.get("ETHOLOG_NEW_BASELINE"):
        drawn.replace(baseline)
        pytest.skip("a new baseline: look at it before you keep it")
    assert compare_images(str(baseline), str(drawn), TOLERANCE) is None


def test_a_wrong_picture_is_noticed(season: Season, tmp_path: Path) -> None:
    times = etholog.latency(season, "courtship")
    longer = times.assign(latency_s=times["latency_s"].where(times["male"] != "M-Slate", 60.0))
    drawn = tmp_path / "survival.png"
    figures.survival(longer, by="male", size="column").savefig(drawn, dpi=70)
    assert compare_images(str(BASELINE / "survival.png"), str(drawn), TOLERANCE) is not None
