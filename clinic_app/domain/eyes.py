"""Words for the side of an eye. There is no default eye and no guess."""

from __future__ import annotations

from types import MappingProxyType

from clinic_app.domain.answers import Asked, Proposal, Refused, Taken
from clinic_app.domain.words import same_words

_RIGHT, _LEFT = ("r", "od", "re", "right", "righteye"), ("l", "os", "le", "left", "lefteye")
SIDES: MappingProxyType[str, str] = MappingProxyType(dict.fromkeys(_RIGHT, "R") | dict.fromkeys(_LEFT, "L"))
BOTH: frozenset[str] = frozenset(
    {"ou", "both", "botheyes", "b", "be", "bilateral", "bil", "od/os", "r/l", "rl", "r+l", "r&l", "l/r"}
)
_ELSEWHERE: MappingProxyType[str, str] = MappingProxyType(
    {
        **dict.fromkeys(
            ("d", "droit", "droite", "derecho", "derecha", "destro", "destra", "dx", "rechts", "re.", "rt"), "R"
        ),
        **dict.fromkeys(
            ("g", "gauche", "i", "izquierdo", "izquierda", "sinistro", "sx", "links", "s", "sin", "li", "lt"), "L"
        ),
    }
)
NAMES: MappingProxyType[str, str] = MappingProxyType({"R": "Right", "L": "Left"})


def both_refused(text: str) -> Refused:
    """The refusal of a word that names both eyes."""
    return Refused(
        f"“{text}” names both eyes. A measurement belongs to one.", "Write one row for each eye, with R or L."
    )


def read_eye(text: str) -> Taken | Asked | Refused:
    """`R` or `L` from a side's word in any case; a foreign word is asked about, one for both eyes refused."""
    word = same_words(text)
    side = SIDES.get(word) or SIDES.get(word.replace(".", ""))
    if side:
        return Taken(side)
    if word in BOTH:
        return both_refused(text)
    guess = _ELSEWHERE.get(word)
    if guess:
        order = (guess, "L" if guess == "R" else "R")
        proposals = tuple(Proposal(one, f"{NAMES[one]} eye", one) for one in order)
        return Asked(f"“{text}”: is that the {NAMES[guess].lower()} eye?", proposals, "eye_word")
    return Refused(f"“{text}” names no eye that we know.", "Write R or L.")


def names_eye(text: str) -> Refused | None:
    """A refusal when a measurement's text names an eye beside the number ("R 540", "OU 540")."""
    words = [same_words(part) for part in text.replace(":", " ").split()]
    if any(word in BOTH and word != "b" for word in words):
        return both_refused(text)
    if len(words) > 1 and words[0] in SIDES:
        return Refused(f"“{text}” names an eye beside the number.", "The row names the eye; write the number alone.")
    return None
