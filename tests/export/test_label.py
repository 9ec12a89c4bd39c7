"""The label, looked at as a printer and a phone would: read back from the file that was written."""

import io
import os
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import matplotlib
import numpy as np
import pypdf
import pytest
import zxingcpp
from matplotlib import image
from matplotlib.font_manager import FontProperties, findfont, get_font

from etholog.base.refusal import Refusal
from etholog.export import label
from tests.conftest import need
from tests.make import CardLine, write_card

pytestmark = pytest.mark.slow

Run = Callable[..., CompletedProcess[str]]


@pytest.fixture
def said(etholog: Run, repository: Path, tmp_path: Path) -> Run:
    def run(*words: object) -> CompletedProcess[str]:
        return etholog("label", *words, "--folder", repository / "examples" / "season", cwd=tmp_path)

    return run


def test_a_label_says_who_with_whom_when_how_sure_and_what_to_look_for(said: Run) -> None:
    shown = said("F-Umbra").stdout.splitlines()
    assert shown == [
        "F-Umbra",
        "Brachypelma smithi",
        "with M-Flint, last 2026-03-26",
        "sperm may have been transferred: clear insertions of both palps",
        "look for a sac 2026-06-24 to 2027-01-20",
        "Hairs: cover eyes; tell a doctor 'tarantula hairs', also weeks later. Lid at hand. Don't open or shake.",
    ]
    assert "sac laid 2026-09-09; leave alone until 2026-10-09" in said("F-Fern").stdout
    assert "moulted 2026-09-12: not paired since" in said("F-Ivy").stdout


@pytest.mark.parametrize(
    ("later", "line"),
    [
        ((("eaten", "2026-07-20"),), "sac laid 2026-07-01, eaten 2026-07-20"),
        ((("pulled", "2026-08-08"), ("died", "2026-09")), "died 2026-09"),
        ((("pulled", "2026-08-08"), ("died", "2026-09")), "sac laid 2026-07-01, pulled 2026-08-08"),
        ((("pulled", "2026-08-08"), ("moult", "2026-10-01")), "moulted 2026-10-01: not paired since"),
    ],
)
def test_a_label_says_what_became_of_the_sac(
    later: tuple[CardLine, ...], line: str, etholog: Run, tmp_path: Path
) -> None:
    write_card(
        tmp_path, "F-1", ("sex", "2020", "female"), ("paired", "2026-03-01", "M-1"), ("sac", "2026-07-01"), *later
    )
    shown = etholog("label", "F-1", cwd=tmp_path).stdout
    assert line in shown.splitlines()
    assert "leave alone" not in shown


def test_a_dead_female_s_label_looks_for_no_sac(etholog: Run, tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), ("paired", "2026-03-01", "M-1"), ("died", "2026-05-01"))
    shown = etholog("label", "F-1", cwd=tmp_path).stdout
    assert "died 2026-05-01" in shown
    assert "look for a sac" not in shown


def test_a_male_has_no_label(said: Run) -> None:
    done = said("M-Flint")
    assert (done.returncode, done.stdout) == (2, "")
    assert "M-Flint is a male" in done.stderr


def test_the_code_is_read_back_by_a_reader(said: Run, tmp_path: Path) -> None:
    assert said("F-Umbra", "-o", "a.png").returncode == 0
    picture = image.imread(tmp_path / "a.png")
    (found,) = zxingcpp.read_barcodes((picture[:, :, 0] * 255).astype(np.uint8))
    assert (found.text, found.format) == ("F-Umbra\nBrachypelma smithi", zxingcpp.BarcodeFormat.QRCode)


@pytest.mark.parametrize("size", label.SIZES)
def test_pages_have_the_label_s_size_and_words(size: str, said: Run, tmp_path: Path) -> None:
    assert said("F-Umbra", "F-Sepia", "-o", "a.pdf", "--size", size).returncode == 0
    pages = pypdf.PdfReader(tmp_path / "a.pdf").pages
    assert len(pages) == 2
    width, height = (float(part) for part in size.split("x"))
    assert float(pages[0].mediabox.width) / 72 * 25.4 == pytest.approx(width, abs=0.1)
    assert float(pages[0].mediabox.height) / 72 * 25.4 == pytest.approx(height, abs=0.1)
    words = " ".join(pages[0].extract_text().split())
    for part in ("F-Umbra", "Brachypelma smithi", "M-Flint", "2026-06-24 to 2027-01-20", "Don't open or shake"):
        assert part in words


@pytest.mark.parametrize("size", ["99.1x38.1", "66.7x25.4", "80x60"])
def test_a_sheet_holds_many_and_each_code_is_read_back(size: str, tmp_path: Path) -> None:
    of = label.sheet_of(label.size_of(size))
    count = of.across * of.down + 1
    labels = [([f"F-{at}", "Brachypelma smithi", "with M-1"], f"F-{at}\nBrachypelma smithi") for at in range(count)]
    label.write(tmp_path / "a.pdf", labels, label.size_of(size), sheet=True)
    pages = pypdf.PdfReader(tmp_path / "a.pdf").pages
    assert len(pages) == 2
    assert [float(side) / 72 * 25.4 for side in pages[0].mediabox[2:]] == pytest.approx(of.page, abs=0.1)
    page, _ = label.sheets(labels, label.size_of(size))
    held = io.BytesIO()
    page.savefig(held, format="png", dpi=200)
    picture = image.imread(io.BytesIO(held.getvalue()))
    codes = zxingcpp.read_barcodes((picture[:, :, 0] * 255).astype(np.uint8))
    assert {found.text.splitlines()[0] for found in codes} == {f"F-{at}" for at in range(count - 1)}
    width, height = label.size_of(size)
    for at, axes in enumerate(page.axes):  # each in its own place of the grid, within the page
        row, column = divmod(at, of.across)
        box = axes.get_position()
        left, right = (edge * of.page[0] - of.left - column * (width + of.gap) for edge in (box.x0, box.x1))
        top, foot = ((1 - edge) * of.page[1] - of.top - row * height for edge in (box.y1, box.y0))
        assert 0 <= left < right <= width and 0 <= top < foot <= height
    assert of.left * 2 + of.across * width + (of.across - 1) * of.gap == pytest.approx(of.page[0], abs=0.3)
    assert of.top * 2 + of.down * height <= of.page[1] + 0.1


# A letter of STIX, which comes with matplotlib; its own DejaVu Sans lacks it.
RARE = "\N{CIRCLED LATIN CAPITAL LETTER B}"


def test_a_letter_that_an_installed_font_has_is_printed(etholog: Run, tmp_path: Path) -> None:
    """matplotlib keeps a list of the fonts that it found once; one that was installed since is found too."""
    fonts = tmp_path / "share" / "fonts"
    fonts.mkdir(parents=True)
    shutil.copy(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "STIXGeneral.ttf", fonts)
    assert ord(RARE) not in get_font(findfont(FontProperties())).get_charmap()
    write_card(tmp_path, f"F-{RARE}", ("sex", "2020", "female"))
    done = etholog(
        "label", f"F-{RARE}", "-o", "a.pdf", cwd=tmp_path, env=os.environ | {"XDG_DATA_HOME": str(fonts.parent)}
    )
    assert (done.returncode, done.stderr) == (0, "1 label in a.pdf\n")
    used = {str(font["/BaseFont"]) for font in _fonts(pypdf.PdfReader(tmp_path / "a.pdf"))}
    assert len(used) == 3  # DejaVu Sans, the same in bold, and the other one
    assert not any("LastResort" in name for name in used)


def _fonts(book: pypdf.PdfReader) -> list[pypdf.generic.DictionaryObject]:
    return [font.get_object() for font in book.pages[0]["/Resources"]["/Font"].values()]


@pytest.mark.parametrize("letter", ["\N{CJK UNIFIED IDEOGRAPH-7EA2}", "\N{LINEAR A SIGN AB001}"])
def test_letters_without_a_font_are_told_of(letter: str, etholog: Run, tmp_path: Path) -> None:
    """Which fonts there are is judged by fontconfig."""
    need("fc-list")
    found = subprocess.run(["fc-list", f":charset={ord(letter):x}"], capture_output=True, text=True, check=True).stdout
    write_card(tmp_path, f"F-{letter}", ("sex", "2020", "female"))
    done = etholog("label", f"F-{letter}", "-o", "a.png", cwd=tmp_path)
    told = f"no font on this computer has the letters {letter}: boxes stand in their place"
    assert (done.returncode, told in done.stderr) == ((0, False) if found else (1, True))
    assert done.stderr.count("\n") == (1 if found else 2)
    picture = image.imread(tmp_path / "a.png")
    (code,) = zxingcpp.read_barcodes((picture[:, :, 0] * 255).astype(np.uint8))
    assert code.text == f"F-{letter}"


def test_a_sheet_is_a_pdf(said: Run) -> None:
    done = said("F-Umbra", "-o", "a.png", "--sheet")
    assert (done.returncode, "written as .pdf" in done.stderr) == (2, True)
    assert "--sheet goes with --out" in said("F-Umbra", "--sheet").stderr


@pytest.mark.parametrize("size", [(25.0, 25.0), (63.5, 38.1), (101.6, 50.8)])
def test_nothing_runs_over_the_edge_or_into_the_code(size: tuple[float, float]) -> None:
    lines = ["F-" + "Long" * 20, "Brachypelma smithi", "with " + " and ".join(f"M-{n}" for n in range(9))]
    drawn = label.figure(lines, "F-1", size)
    drawn.savefig(io.BytesIO(), format="png")
    code = drawn.axes[0].get_window_extent()
    for text in drawn.texts:
        box = text.get_window_extent()
        assert box.x0 >= 0
        assert box.x1 <= code.x0 or box.y1 < code.y0
        assert box.y0 >= 0


@pytest.mark.parametrize("name", ["Żółć-Łódź-ñandú", "F-Grammostola-pulchripes-of-2019 the second of three"])
def test_a_name_stands_there_whole_and_is_read_back_from_paper(name: str, tmp_path: Path) -> None:
    """From the page that is printed, drawn by poppler, and and read by zxing's reader."""
    need("pdftocairo")
    met = "with M-Another-very-long-name-of-a-male-that-was-borrowed, last 2026-08-01"
    labels = [([name, "Brachypelma smithi", met, "look for a sac 2026-10-30 to 2027-05-28"], name)] * 4
    label.write(tmp_path / "a.pdf", labels, label.size_of("63.5x38.1"), sheet=True)
    listed = subprocess.run(
        ["pdftotext", "-bbox", "a.pdf", "-"], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    words = re.findall(r'<word xMin="([\d.]+)" yMin="[\d.]+" xMax="([\d.]+)" yMax="[\d.]+">(.*?)</word>', listed.stdout)
    of = label.SHEETS["63.5x38.1"]
    for left, right, _ in words:
        at, until = (float(x) / 72 * 25.4 for x in (left, right))
        label_left = of.left + (at - of.left) // (63.5 + of.gap) * (63.5 + of.gap)
        assert until <= label_left + 63.5 - label.MARGIN_MM - 0.35 * 63.5  # where the code begins
    assert "".join(word for *_, word in words).count(name.replace(" ", "")) == 4
    for dpi in (150, 300):
        drawn = f"at-{dpi}"
        subprocess.run(["pdftocairo", "-png", "-r", str(dpi), "-singlefile", "a.pdf", drawn], cwd=tmp_path, check=True)
        picture = (image.imread(tmp_path / f"{drawn}.png")[:, :, 0] * 255).astype(np.uint8)
        assert [found.text for found in zxingcpp.read_barcodes(picture)] == [name] * 4


def test_a_label_too_small_for_its_words_is_refused(said: Run, tmp_path: Path) -> None:
    done = said("F-Umbra", "-o", "a.pdf", "--size", "25x25")
    assert (done.returncode, "take a larger --size" in done.stderr) == (2, True)
    assert not list(tmp_path.iterdir())


def test_bytes_are_the_same_each_time(said: Run, tmp_path: Path) -> None:
    for kind in ("svg", "pdf", "png"):
        said("F-Umbra", "-o", f"a.{kind}")
        said("F-Umbra", "-o", f"b.{kind}")
        assert (tmp_path / f"a.{kind}").read_bytes() == (tmp_path / f"b.{kind}").read_bytes()


@pytest.mark.parametrize("size", ["big", "10x10", "1000x20", "63.5", "nanxnan", "-5x40"])
def test_no_size_of_a_label_is_refused(size: str) -> None:
    with pytest.raises(Refusal, match="size"):
        label.size_of(size)


@pytest.mark.parametrize(
    ("words", "why"),
    [(("F-Umbra", "-o", "a.doc"), "written as"), (("F-Umbra", "F-Ivy", "-o", "a.svg"), "several as .pdf")],
)
def test_what_can_t_be_written_is_told(words: tuple[str, ...], why: str, said: Run, tmp_path: Path) -> None:
    done = said(*words)
    assert (done.returncode, why in done.stderr) == (2, True)
    assert not list(tmp_path.iterdir())
