"""From hours of film to the minutes that matter: alignment, cut list, captions, chapters, rendering."""

__all__ = [
    "activity",
    "alignment",
    "captions",
    "contents",
    "cuts",
    "editlist",
    "hours",
    "overlay",
    "render",
    "search",
    "source",
    "still",
    "stretches",
    "subtitles",
    "tally",
]
