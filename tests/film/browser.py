"""Chromium's own <track> player: the WebVTT parser of a browser, and the video under it."""

import base64
import mimetypes
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.conftest import need

PAGE = "<!doctype html><meta charset=utf-8><title>film</title><video muted></video>"
# Blobs, so that the player can seek without a server of ours.
LOAD = """async ([film, kind, captions, what]) => {
  const blob = (text, type) => URL.createObjectURL(
    new Blob([Uint8Array.from(atob(text), c => c.charCodeAt(0))], {type}));
  const video = document.querySelector('video');
  const track = document.createElement('track');
  Object.assign(track, {kind: what, src: blob(captions, 'text/vtt'), default: true});
  video.append(track);
  track.track.mode = 'showing';
  const until = (target, name) => new Promise((yes, no) => {
    target.addEventListener(name, yes, {once: true});
    target.addEventListener('error', () => no(new Error(name)), {once: true});
  });
  const ready = until(track, 'load');
  if (film) { const loaded = until(video, 'loadeddata'); video.src = blob(film, kind); await loaded; }
  await ready;
  return Array.from(track.track.cues, c => [c.startTime, c.endTime, c.getCueAsHTML().textContent]);
}"""
# Where the film is drawn, the squares of tests.film.making are read from the shown frame itself.
SEEK = """async ([seconds, bits, square]) => {
  const video = document.querySelector('video');
  const shown = new Promise(yes => video.requestVideoFrameCallback(() => yes()));
  const sought = new Promise(yes => video.addEventListener('seeked', yes, {once: true}));
  video.currentTime = seconds;
  await Promise.all([shown, sought]);
  await new Promise(yes => setTimeout(yes, 30));
  const canvas = document.createElement('canvas');
  canvas.width = bits * square; canvas.height = square;
  const context = canvas.getContext('2d');
  context.drawImage(video, 0, 0);
  let number = 0;
  for (let bit = 0; bit < bits; bit++) {
    const dot = context.getImageData(bit * square + square / 2, square / 2, 1, 1).data;
    if (dot[1] > 127) number += 2 ** bit;
  }
  return [number, Array.from(video.textTracks[0].activeCues, c => c.getCueAsHTML().textContent)];
}"""


class Player:
    """A page with a video and its captions."""

    def __init__(self, page: Any) -> None:
        self._page = page

    def load(self, captions: str, film: Path | None = None, kind: str = "captions") -> list[tuple[float, float, str]]:
        """Load captions, and a film; the cues that the browser's parser found."""
        data = base64.b64encode(film.read_bytes()).decode() if film else ""
        mime = (mimetypes.guess_type(film.name)[0] if film else "") or ""
        text = base64.b64encode(captions.encode()).decode()
        self._page.goto("http://film.test/")
        return [(start, end, words) for start, end, words in self._page.evaluate(LOAD, [data, mime, text, kind])]

    def at(self, seconds: float, bits: int, square: int) -> tuple[int, list[str]]:
        """Seek, and read the number of the frame shown and the captions on it."""
        number, shown = self._page.evaluate(SEEK, [seconds, bits, square])
        return number, shown


@contextmanager
def player() -> Iterator[Player]:
    need("chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page()
        page.route("http://film.test/**", lambda route: route.fulfill(body=PAGE, content_type="text/html"))
        yield Player(page)
        browser.close()
