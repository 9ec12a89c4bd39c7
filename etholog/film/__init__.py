"""From hours of film to the minutes that matter: alignment, cut list, captions, chapters, rendering."""
