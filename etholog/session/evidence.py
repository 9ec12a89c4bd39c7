"""The evidence that sperm was transferred: a ladder, each rung with its words. It is no yes or no."""

from collections.abc import Sequence
from enum import IntEnum

from etholog.base.language import gettext, gettext_noop
from etholog.ethogram import Ethogram, Role
from etholog.session.folding import Bout

CLEAR_MS = 5000


class Evidence(IntEnum):
    """A rung of the ladder. A session reaches the first six; a sac, and what hatches from it, come later.

    Below the ladder stand two reasons why nothing is known.

    >>> Evidence.CLASP.words
    'a clasp, no insertion'
    >>> Evidence.of(float("nan")) is Evidence.UNWATCHED
    True
    """

    UNTOLD = -2
    UNWATCHED = -1
    NO_CONTACT = 0
    CONTACT = 1
    CLASP = 2
    INSERTION = 3
    ONE_PALP = 4
    BOTH_PALPS = 5
    SAC = 6
    YOUNG = 7

    @classmethod
    def of(cls, rung: float | None) -> "Evidence":
        """Return a number's rung; a missing one is that of a pairing that nobody watched."""
        return cls.UNWATCHED if rung is None or rung != rung else cls(int(rung))

    @property
    def words(self) -> str:
        """What it says, in plain words."""
        return gettext(_WORDS[self])

    @property
    def known(self) -> bool:
        """Whether it is a rung of the ladder, and no reason why nothing is known."""
        return self >= Evidence.NO_CONTACT

    @property
    def may_have_taken(self) -> bool:
        """Whether sperm may have been transferred: from a clasp upwards, or where nothing is known."""
        return not self.known or self >= Evidence.CLASP


_WORDS = {
    Evidence.UNTOLD: gettext_noop("not known: the ethogram lacks the role of a touch, a clasp or an insertion"),
    Evidence.UNWATCHED: gettext_noop("nobody watched"),
    Evidence.NO_CONTACT: gettext_noop("no contact"),
    Evidence.CONTACT: gettext_noop("contact only"),
    Evidence.CLASP: gettext_noop("a clasp, no insertion"),
    Evidence.INSERTION: gettext_noop("an insertion, but short (under 5 s) or of unsure side"),
    Evidence.ONE_PALP: gettext_noop("a clear insertion of one palp"),
    Evidence.BOTH_PALPS: gettext_noop("clear insertions of both palps"),
    Evidence.SAC: gettext_noop("a sac"),
    Evidence.YOUNG: gettext_noop("young"),
}

OF_A_SESSION = tuple(rung for rung in Evidence if Evidence.NO_CONTACT <= rung <= Evidence.BOTH_PALPS)


def evidence(ethogram: Ethogram, bouts: Sequence[Bout]) -> Evidence:
    """Return the rung that these bouts reach; UNTOLD where the ethogram has no role for what would decide it."""
    insertions = ethogram.codes_of("insertion")
    if not insertions:
        return Evidence.UNTOLD
    codes = {bout.code for bout in bouts}
    if not codes.isdisjoint(insertions):
        long = [bout for bout in bouts if bout.code in insertions and bout.offset - bout.onset >= CLEAR_MS]
        clear = {bout.qualifier for bout in long if bout.sure and bout.qualifier}
        return Evidence(Evidence.INSERTION + min(len(clear), 2))
    rungs: tuple[tuple[Role, Evidence], ...] = (("clasp", Evidence.CLASP), ("touch", Evidence.CONTACT))
    for role, rung in rungs:
        of_role = ethogram.codes_of(role)
        if not of_role:
            return Evidence.UNTOLD
        if not codes.isdisjoint(of_role):
            return rung
    return Evidence.NO_CONTACT
