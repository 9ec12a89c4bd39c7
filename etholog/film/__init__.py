"""From hours of film to the minutes that matter: alignment, cut list, captions, chapters, rendering."""

__all__ = [
    "activity",
    "alignment",
    "captions",
    "contents",
    "cuts",
    "editlist",
    "evening",
    "hours",
    "overlay",
    "preview",
    "reel",
    "render",
    "search",
    "sound",
    "source",
    "still",
    "stretches",
    "strokes",
    "subtitles",
    "tally",
]
