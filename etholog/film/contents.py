"""A film known again by what it holds, where its file was renamed or moved."""

import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from etholog.film.alignment import Clip, same_film

DEEP = 3  # folders below the workspace that are looked through


def found_again(clips: Sequence[Clip], workspace: Path) -> tuple[list[Clip], list[str]]:
    """Return the clips, each with the file that holds its film now, and a line for each that was found elsewhere, or
    is no longer what was aligned: one that was still being written then is longer now.

    Looked for in the workspace and in the folder where it was. By its contents where the journal holds them; else by
    its exact length, where one file alone has that.
    """
    out, told = [], []
    for clip in clips:
        if clip.path.is_file():
            if clip.contents and not same_film(clip, clip.path):
                told.append(
                    f"{clip.path.name} has changed since it was aligned; of it only the first {clip.seconds:.1f} s are"
                    " taken: align it anew"
                )
            out.append(clip)
            continue
        here = [path for path in _near(clip, workspace) if same_film(clip, path)]
        if len(here) == 1 or (here and clip.contents):
            told.append(f"{clip.path.name} is {here[0]} now: it holds the same film")
            clip = replace(clip, path=here[0].absolute())
        out.append(clip)
    return out, told


def _near(clip: Clip, workspace: Path) -> Iterator[Path]:
    """Yield files of the same kind in the workspace, and where the film was."""
    seen: set[Path] = set()
    for folder, deep in ((clip.path.parent, 1), (workspace.absolute(), DEEP)):
        for at, folders, files in os.walk(folder):
            if len(Path(at).relative_to(folder).parts) >= deep:
                folders.clear()
            folders[:] = [name for name in folders if not name.startswith(".")]
            for name in sorted(files):
                path = Path(at, name)
                if path.suffix.lower() == clip.path.suffix.lower() and path not in seen and path.is_file():
                    seen.add(path)
                    yield path
