"""From hours of film to the minutes that matter: alignment, cut list, captions, chapters, rendering."""

__all__ = ["alignment", "captions", "cuts", "editlist", "overlay", "render", "source", "subtitles", "tally"]
