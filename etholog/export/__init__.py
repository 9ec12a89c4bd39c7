"""Things to hand over: tables that other programs take as they are, and more."""

__all__ = ["calendar", "deposit", "folder", "label", "plain"]
