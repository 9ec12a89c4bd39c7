"""From a cut list to a film, by ffmpeg: each cut is made for itself, then they are joined without another loss.

Exact cuts are re-encoded, their sound cut to the sample and encoded once. Quick ones copy pictures from a key frame to
a key frame, and the sound that goes with them, to a packet of some 20 ms, where it can be copied. The source is only
read; the result gets its name when it is whole.
"""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from pathlib import Path

from etholog.base.atomic import workroom
from etholog.base.files import remedy
from etholog.base.refusal import Refusal
from etholog.film import ffmpeg
from etholog.film.captions import Cue
from etholog.film.cuts import Cut, CutList
from etholog.film.source import Source, key_frames, packets_of
from etholog.film.subtitles import ffmetadata, subrip

SAMPLES_PER_S = 48_000
COPIED = ("aac", "mp3", "ac3")  # what both containers hold as it is
CAPTIONS = {".mp4": "mov_text", ".mkv": "srt"}  # what each container holds
NO_PLACE = "incorrect codec parameters"  # so ffmpeg says that a container can't hold what is copied into it


@dataclass(frozen=True)
class RenderJob:
    """What to make. `overlay` is an ASS script drawn into the pictures, of which `below` rows lie under the film."""

    cuts: CutList
    sources: Sequence[Source]  # one for each clip
    out: Path
    captions: Sequence[Cue] = ()
    chapters: Sequence[Cue] = ()
    overlay: str = ""
    below: int = 0
    about: str = ""  # a comment inside the film
    mute: bool = False
    quick: bool = False

    @property
    def sound(self) -> bool:
        """Whether the film is to have sound."""
        return not self.mute and any(self.sources[cut.clip].sound for cut in self.cuts.cuts)

    @property
    def why_encoded(self) -> str:
        """Why the sound of a quick film can't be copied; '' where it can be, or where there is none."""
        kinds = {self.sources[cut.clip].audio for cut in self.cuts.cuts}
        if not self.sound:
            return ""
        if len(kinds) > 1:
            return "the films' sound differs"
        [kind] = kinds
        return "" if kind and kind[0] in COPIED else f"its sound is {kind[0] if kind else 'of an unknown kind'}"


def frame_size(source: Source) -> tuple[int, int]:
    """Return width and height of a film made from this one: even, since its colours are kept for 2 x 2 pixels."""
    return source.width // 2 * 2, source.height // 2 * 2


def at_key_frames(cuts: CutList, sources: Sequence[Source]) -> CutList:
    """Widen each cut to the key frames around it; what then touches is one. Raises Refusal where nothing can be
    copied."""
    if any(cut.speed > 1 for cut in cuts.cuts):
        raise Refusal("waits can't be speeded up by stream copy: leave --waits, --hurry or --quick out")
    if len({(s.width, s.height, s.rate, s.turned) for s in sources}) > 1:
        raise Refusal(
            "the films differ in size, frame rate or how they are turned, so they can't be joined by stream copy: "
            "leave --quick out"
        )
    for source in sources:
        if not (source.even and source.indexed):
            raise Refusal(f"{source.path}: frames can't be found by their time, so no stream copy: leave --quick out")
    keys = [[round(s * cuts.rate) for s, _ in key_frames(source)] for source in sources]
    wide: list[Cut] = []
    for cut in cuts.cuts:
        own = keys[cut.clip]
        first = max((k for k in own if k <= cut.first), default=own[0])
        end = min((k for k in own if k >= cut.end), default=own[-1])
        if wide and wide[-1].clip == cut.clip and first <= wide[-1].end:
            wide[-1] = Cut(cut.clip, wide[-1].first, max(end, wide[-1].end))
        else:
            wide.append(Cut(cut.clip, first, end))
    return CutList(cuts.clips, cuts.rate, tuple(wide), cuts.lost_ms, cuts.named)


def render(job: RenderJob, progress: Callable[[float], None]) -> None:
    """Make the film; `progress` gets the share done, 0 to 1. Raises Refusal, and leaves nothing, when that fails."""
    out = job.out
    if out.suffix.lower() not in CAPTIONS:
        raise Refusal(f"{out}: give it one of the endings {', '.join(CAPTIONS)}")
    if job.quick and out.suffix.lower() == ".mkv" and any(source.turned for source in job.sources):
        raise Refusal(f"{out}: pictures that are turned can't be copied into .mkv; name an .mp4, or leave --quick out")
    if out.exists():
        raise Refusal(f"{out}: is there already; choose another name, or take it away first")
    try:
        with workroom(out) as folder:
            _Renderer(job, folder, progress).make()
            made = folder / f"film{out.suffix.lower()}"
            with made.open("rb+") as file:
                os.fsync(file.fileno())
            made.replace(out)
    except OSError as error:
        raise Refusal(f"{out}: can't be written ({error.strerror}); {remedy(error)}") from error


class _Renderer:
    """Makes each cut for itself in a temporary folder, then joins them."""

    def __init__(self, job: RenderJob, folder: Path, progress: Callable[[float], None]) -> None:
        self._job, self._folder, self._progress = job, folder, progress
        self._cuts = job.cuts
        self._rate = job.cuts.rate
        self._size = frame_size(job.sources[0])
        self._keys: dict[int, dict[int, int]] = {}
        self._copies_sound = job.quick and job.sound and not job.why_encoded
        self._kind = "mka" if self._copies_sound else "wav"

    def make(self) -> None:
        """Make the parts, then join them."""
        # In ffmpeg's filters a path would need escapes; here every name is our own.
        (self._folder / "overlay.ass").write_text(self._job.overlay, encoding="utf-8")
        lists: dict[str, list[str]] = {"mov": [], self._kind: []}
        for number, cut in enumerate(self._cuts.cuts):
            (self._copy if self._job.quick else self._encode)(number, cut)
            for kind, listed in lists.items():
                listed.append(f"file {number}.{kind}\ninpoint 0\nduration {float(cut.frames / self._rate):.6f}\n")
        for kind, listed in lists.items():
            (self._folder / f"{kind}.txt").write_text("ffconcat version 1.0\n" + "".join(listed))
        self._join()
        self._progress(1.0)

    def _run(self, number: int, *words: str) -> None:
        start, total = self._cuts.starts[number], self._cuts.starts[-1]
        frames = self._cuts.cuts[number].frames

        def told(seconds: float) -> None:
            # The last twentieth of the bar is for the joining.
            self._progress(0.95 * (start + min(frames, seconds * float(self._rate))) / total)

        ffmpeg.run(words, told, self._folder)

    def _encode(self, number: int, cut: Cut) -> None:
        source, rate = self._job.sources[cut.clip], self._rate
        # ffmpeg drops what lies before the time sought, and where frames come unevenly that may be the one on screen:
        # so it is sought somewhat earlier, and counted from there. Without an index it begins at the next key frame.
        margin = min(cut.first, ceil(rate * (1 if source.indexed else 12)))
        seek = (cut.first - margin) / rate
        span = (margin + cut.end - cut.first) / rate + 1
        filters = [
            f"fps={rate}:start_time=0:round=near",
            "tpad=stop_mode=clone:stop_duration=1",
            f"trim=start_frame={margin}:end_frame={margin + cut.end - cut.first}",
            *([f"framestep={cut.speed}"] if cut.speed > 1 else []),
            *self._to_size(source),
        ]
        if self._job.overlay:
            start = self._cuts.starts[number]
            filters += [f"setpts=(N+{start})/({rate})/TB", "ass=overlay.ass"]
        filters.append(f"setpts=N/({rate})/TB")
        self._run(
            number, "-ss", f"{float(seek):.6f}", "-t", f"{float(span):.6f}", "-i", ffmpeg.named(source.path),
            *self._silence(cut, source),
            "-map", "0:v:0", "-vf", ",".join(filters), "-r", str(rate), "-frames:v", str(cut.frames),
            "-c:v", "libx264", "-preset", "fast", "-crf", "20", "-pix_fmt", "yuv420p",
            "-video_track_timescale", str(_ticks(rate)), f"{number}.mov",
            *self._sound(number, cut, source, margin),
        )  # fmt: skip

    def _to_size(self, source: Source) -> list[str]:
        width, height = self._size
        share = min(width / source.width, height / source.height)
        fitted = [round(side * share / 2) * 2 for side in (source.width, source.height)]
        filters = ["scale={}:{}".format(*fitted)]  # which leaves alone what has this size
        if fitted != [width, height] or self._job.below:
            filters.append(f"pad={width}:{height + self._job.below}:(ow-iw)/2:({height}-ih)/2")
        return [*filters, "setsar=1"]

    def _silence(self, cut: Cut, source: Source) -> list[str]:
        """Return an input of silence where there is no sound to be taken: voices at many times their speed are none."""
        if source.sound and cut.speed == 1:
            return []
        return ["-f", "lavfi", "-i", f"anullsrc=r={SAMPLES_PER_S}:cl=stereo"]

    def _sound(self, number: int, cut: Cut, source: Source, margin: int) -> list[str]:
        """Return what makes the sound of a cut: as many samples as its frames last, whatever the film holds."""
        if not self._job.sound:
            return []
        start, rate = self._cuts.starts[number], self._rate
        samples = round((start + cut.frames) / rate * SAMPLES_PER_S) - round(start / rate * SAMPLES_PER_S)
        taken = bool(source.sound and cut.speed == 1)
        before = round(margin / rate * SAMPLES_PER_S) if taken else 0
        filters = [
            f"aresample={SAMPLES_PER_S}:async=1:first_pts=0",
            f"atrim=start_sample={before}",
            "asetpts=PTS-STARTPTS",
            f"apad=whole_len={samples}",
            f"atrim=end_sample={samples}",
        ]
        which = "0:a:0" if taken else "1:a:0"
        return ["-map", which, "-af", ",".join(filters), "-ac", "2", "-c:a", "pcm_s16le", f"{number}.wav"]

    def _copy(self, number: int, cut: Cut) -> None:
        source = self._job.sources[cut.clip]
        if cut.clip not in self._keys:
            self._keys[cut.clip] = {round(s * self._rate): at for s, at in key_frames(source)}
        packets = self._keys[cut.clip]
        seek, key = self._found(source, cut.first)
        with _held(f"{source.path}: pictures of its kind can't be copied: leave --quick out"):
            self._run(
                number, "-ss", seek, "-copyts", "-i", ffmpeg.named(source.path), "-map", "0:v:0", "-c", "copy",
                "-frames:v", str(packets[cut.end] - packets[cut.first]), "-output_ts_offset", f"{-key:.6f}",
                "-video_track_timescale", str(_ticks(self._rate)), f"{number}.mov",
            )  # fmt: skip
        at, span = cut.first / self._rate, (cut.end - cut.first) / self._rate
        if self._copies_sound:
            sound = (
                "-ss", f"{float(at):.6f}", "-t", f"{float(span):.6f}", "-i", ffmpeg.named(source.path),
                "-map", "0:a:0", "-c", "copy", "-copypriorss:a", "0",
            )  # fmt: skip
            # Asked of the film: of what is written a full disk may hold nothing.
            listed, _ = ffmpeg.output_of(*sound, "-f", "framecrc", "-")
            if not packets_of(listed)[1]:
                raise Refusal(
                    f"{source.path}: has no sound from {float(at):.1f} to {float(at + span):.1f} s, so it can't be "
                    "copied: leave --quick out, or mute the film by --mute"
                )
            self._run(number, *sound, f"{number}.mka")
        elif self._job.sound:
            span += 1
            self._run(
                number, "-ss", f"{float(at):.6f}", "-t", f"{float(span):.6f}", "-i", ffmpeg.named(source.path),
                *self._silence(cut, source), *self._sound(number, cut, source, 0),
            )  # fmt: skip

    def _found(self, source: Source, first: int) -> tuple[str, float]:
        """Return what to seek so that copying begins at a key frame, and that frame's time by the file's own clock.

        Some containers are sought by decoding time, which lies up to 3/23 s before that of showing.
        """
        wanted = float(first / self._rate)
        for late in (0.0, 0.14):
            seek = f"{wanted + late + 5e-7:.6f}"
            listed, _ = ffmpeg.output_of(
                "-ss", seek, "-copyts", "-i", ffmpeg.named(source.path), "-map", "0:v:0", "-c", "copy",
                "-frames:v", "1", "-f", "framecrc", "-",
            )  # fmt: skip
            tick, packets = packets_of(listed)
            if packets and abs(float(packets[0][0] * tick) - source.start - wanted) < 0.5 / self._rate:
                return seek, float(packets[0][0] * tick)
        raise Refusal(f"{source.path}: no stream copy can begin at {wanted:.3f} s: leave --quick out")

    def _join(self) -> None:
        job = self._job
        inputs = ["-f", "concat", "-safe", "0", "-i", "mov.txt"]
        maps = ["-map", "0:v:0", "-c:v", "copy"]
        count = 1
        if job.sound:
            # In a part, and in all of them, sound that begins later than its pictures would else be drawn to their
            # beginning: hence `inpoint` above, and a start that is that of the pictures.
            inputs += ["-isync", "0", "-f", "concat", "-safe", "0", "-i", f"{self._kind}.txt"]
            how = ["copy"] if self._copies_sound else ["aac", "-b:a", "160k"]
            maps += ["-map", f"{count}:a:0", "-c:a", *how]
            count += 1
            if not self._copies_sound and job.out.suffix.lower() == ".mkv":
                # The 1024 samples with which AAC begins come before 0; Matroska would shift the whole film by them.
                maps += ["-af", "atrim=start_sample=1024"]
        if job.captions:
            # Neither container has an escape for what players take for markup: SubRip's words are free of it.
            (self._folder / "captions.srt").write_bytes(subrip(job.captions, self._rate).encode())
            inputs += ["-i", "captions.srt"]
            maps += ["-map", f"{count}:s:0", "-c:s", CAPTIONS[job.out.suffix.lower()]]
            maps += ["-disposition:s:0", "default"]  # players show no others of themselves; MP4's are so anyway
            count += 1
        (self._folder / "chapters.ffmeta").write_bytes(ffmetadata(job.chapters, self._rate, job.about).encode())
        inputs += ["-f", "ffmetadata", "-i", "chapters.ffmeta"]
        maps += ["-map_metadata", str(count), "-map_chapters", str(count)]
        if job.out.suffix.lower() == ".mp4":
            maps += ["-movflags", "+faststart", "-video_track_timescale", str(_ticks(self._rate))]
        with _held(f"{job.out}: no .mp4 holds copied pictures of this kind: name an .mkv, or leave --quick out"):
            ffmpeg.run([*inputs, *maps, f"film{job.out.suffix.lower()}"], lambda _: None, self._folder)


@contextmanager
def _held(otherwise: str) -> Iterator[None]:
    """Say in our own words that a container can't hold what is copied into it."""
    try:
        yield
    except Refusal as error:
        if NO_PLACE not in str(error):
            raise
        raise Refusal(otherwise) from None


def _ticks(rate: Fraction) -> int:
    """Return a clock in which every frame falls on a tick."""
    return rate.numerator if rate.numerator >= 10_000 else rate.numerator * 1000
