"""How an evening ended: the answers that are asked for elsewhere, and what closes an evening for good."""

from etholog.base.language import gettext_noop
from etholog.ethogram import Role

ATTACKED, KILLED = gettext_noop("she attacked"), gettext_noop("he was killed")
# Answers after which nothing more could come that evening. After the others it might have: the watching ended, and the
# time is censored there.
FOR_GOOD = ("he got out", "she withdrew", ATTACKED, KILLED)
# Roles of behaviours that do the same at their own instant. They part and meet again: that is not for good.
LAST: tuple[Role, ...] = ("killed",)
