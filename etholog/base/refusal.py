"""The one kind of error that a user is meant to read."""


class Refusal(Exception):
    """Clear lines for the user: which file and line, what is wrong, what to do. The command line ends with 2 after
    it."""
