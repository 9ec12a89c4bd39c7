"""Keyboards other than QWERTY: ethograms name keys by their places on a QWERTY keyboard, hands know their own."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from etholog.base.refusal import Refusal
from etholog.ethogram import Press

# Row by row from the key left of 1, without Shift; a blank is a dead key. Checked against xkeyboard-config.
QWERTY = "`1234567890-=qwertyuiop[]\\asdfghjkl;'zxcvbnm,./"
KEYBOARDS = {
    "azerty": "²&é\"'(-è_çà)=azertyuiop $*qsdfghjklmùwxcvbn,;:!",
    "colemak": "`1234567890-=qwfpgjluy;[]\\arstdhneio'zxcvbkm,./",
    "dvorak": "`1234567890[]',.pyfgcrl/=\\aoeuidhtns-;qjkxbmwvz",
    "jcuken": "ё1234567890-=йцукенгшщзхъ\\фывапролджэячсмитьбю.",
    "qwertz": "^1234567890ß´qwertzuiopü+#asdfghjklöäyxcvbnm,.-",
}


@dataclass(frozen=True)
class Keyboard:
    """What stands on the keys of one keyboard; `places` gives the QWERTY key at the place of a typed one."""

    places: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, said: str) -> "Keyboard":
        """Return the keyboard of a name, or of pairs such as 'yz zy': the key as typed, then the QWERTY key at its
        place. Raises Refusal for anything else."""
        if said in KEYBOARDS:
            return cls({typed: place for typed, place in zip(KEYBOARDS[said], QWERTY, strict=True) if typed != " "})
        pairs = said.split()
        known = f"known are {', '.join(KEYBOARDS)}; or write pairs such as 'yz zy', the key as typed, then its place"
        if any(len(pair) != 2 or pair[1] not in QWERTY for pair in pairs):
            raise Refusal(f"--map {said!r}: is not a keyboard; {known}")
        places = {pair[0]: pair[1] for pair in pairs}
        if not len(pairs) == len(places) == len(set(places.values())):
            raise Refusal(f"--map {said!r}: names a key twice; give each key one place")
        for typed in places:
            if typed in QWERTY and typed not in places.values():
                raise Refusal(f"--map {said!r}: moves {typed!r} away; say also which key lies at its old place")
        return cls(places)

    def place(self, typed: str) -> str:
        """Return the QWERTY key that lies where this one was typed; Caps Lock changes nothing."""
        return self.places.get(typed, self.places.get(typed.lower(), typed))

    def typed(self, place: str) -> str:
        """Return what stands on the key at a place of QWERTY."""
        return next((typed for typed, there in self.places.items() if there == place), place)

    def layout(self, by_place: Mapping[str, Press]) -> dict[str, Press]:
        """Return a layout by what stands on the keys."""
        return {self.typed(place): press for place, press in by_place.items()}


QWERTY_KEYBOARD = Keyboard()
