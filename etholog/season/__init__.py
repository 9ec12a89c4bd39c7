"""Many sessions and cards, read together into tables."""

from etholog.season.folder import Season, folder_of, of, of_rows, part, read, sessions_in

__all__ = ["Season", "folder_of", "of", "of_rows", "part", "read", "sessions_in", "store"]
