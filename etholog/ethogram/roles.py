"""What a behaviour is to the measures: its role, said by the ethogram and by nothing else."""

from typing import Literal

Role = Literal[
    "introduced",
    "silk",
    "display",
    "answer",
    "refusal",
    "touch",
    "clasp",
    "insertion",
    "parted",
    "flight",
    "strike",
    "bite",
    "killed",
    "hairs",
]
IntervalRole = Literal["courtship"]

ROLES: dict[Role, str] = {
    "introduced": "he is put into her enclosure",
    "silk": "he touches her silk",
    "display": "he courts: drumming, vibration, leg waving ...",
    "answer": "she answers a display of his",
    "refusal": "she turns him down and does not attack",
    "touch": "they touch",
    "clasp": "he holds her, or is mounted on her",
    "insertion": "a palp is inserted; its choices left and right say which palp",
    "parted": "they part",
    "flight": "he runs from her",
    "strike": "she strikes or lunges at him",
    "bite": "her fangs are in him",
    "killed": "she has killed him",
    "hairs": "hairs are kicked: the keeper's eyes and skin are at risk",
}
INTERVAL_ROLES: dict[IntervalRole, str] = {
    "courtship": "how long until he courts",
}

# Ethograms of format 1 have no roles. Measures went by these codes, those of the shipped ones of version 1.0.
OF_FORMAT_1: dict[str, Role] = {
    "introduced": "introduced",
    "on_silk": "silk",
    "drumming": "display",
    "vibration": "display",
    "leg_tapping": "display",
    "leg_drumming": "display",
    "push_up": "display",
    "leg_waving": "display",
    "body_shaking": "display",
    "legs_up": "display",
    "zigzag": "display",
    "palp_flicking": "display",
    "answers": "answer",
    "touch": "touch",
    "clasp": "clasp",
    "mount": "clasp",
    "insertion": "insertion",
    "flees": "flight",
    "strike": "strike",
}
INTERVALS_OF_FORMAT_1: dict[str, IntervalRole] = {"courtship": "courtship"}

# Without these a measure can't say what it has to say.
NEEDED: tuple[Role, ...] = ("touch", "clasp", "insertion")
