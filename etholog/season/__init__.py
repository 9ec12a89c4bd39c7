"""Many sessions and cards, read together into tables."""

from etholog.season.folder import Season, folder_of, of, of_rows, part, read, sessions_in
from etholog.season.tables import began_there

__all__ = ["Season", "began_there", "folder_of", "of", "of_rows", "part", "read", "sessions_in", "store"]
