"""One self-contained HTML page on one session or a season: questions, answers, figures, tables, cautions."""

__all__ = ["file", "page", "sheet", "svg"]
