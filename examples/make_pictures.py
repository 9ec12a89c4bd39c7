"""Makes the README's picture from the real watch screen: `python examples/make_pictures.py`. Needs chromium."""

import asyncio
import re
import subprocess
import tempfile
from pathlib import Path

from etholog import ethogram, system
from etholog.commands.demo import script
from etholog.watch.app import WatchApp
from etholog.watch.opening import begin
from etholog.watch.recorder import Recorder
from etholog.watch.themes import THEMES, Look
from etholog.watch.watching import Watching

COLUMNS, ROWS = 100, 32
UNTIL_S = 330


async def draw(folder: Path) -> str:
    """Play the demo's pairing on a clock of our own and return the screen as SVG."""
    kept = ethogram.read(ethogram.find("terrestrial"))
    began = system.wall_now().replace(hour=21, minute=15)
    journal = begin(folder, kept, began, 0.0, male="M-Flint", female="F-Umbra", source="invented")
    recorder = Recorder(journal, kept, "left", began, 0.0)
    strip = Watching(recorder, Look(THEMES["day"]), pair="M-Flint x F-Umbra", clock=lambda: UNTIL_S, live=False)
    app = WatchApp(strip.look, watching=strip)
    async with app.run_test(size=(COLUMNS, ROWS)) as pilot:
        for at, key in script():
            if at < UNTIL_S:
                answer = recorder.press(key, at)
        strip._told(answer)
        await pilot.pause()
        return app.export_screenshot(title="etholog watch, an invented pairing")


def main() -> None:
    target = Path(__file__).parent / "pictures" / "watch.png"
    target.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        svg = asyncio.run(draw(Path(scratch)))
        # The picture must not fetch a font from anywhere.
        svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.S).replace("Fira Code", "DejaVu Sans Mono")
        width, height = (round(float(size)) for size in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
        page = Path(scratch) / "watch.html"
        page.write_text(f"<body style='margin:0'>{svg}</body>", encoding="utf-8")
        subprocess.run(
            [
                "chromium",
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--disable-background-networking",
                f"--window-size={width},{height}",
                f"--screenshot={target}",
                page.as_uri(),
            ],
            check=True,
            capture_output=True,
        )
    print(target)


if __name__ == "__main__":
    main()
