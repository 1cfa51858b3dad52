"""The people of the practice: registering them, their duties, leaving, PINs, and who is acting.

While nobody is registered everybody may do everything. The first person registered looks after people, and there is
always somebody who does.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta

from clinic_app.domain import pin as pins
from clinic_app.domain.dates import in_letters
from clinic_app.domain.people import PERSON, PIN, Duty, Person, body_of
from clinic_app.errors import Refusal
from clinic_app.session import Session

WRONG_AT_ONCE = 5
"""So many wrong PINs in a row may be tried before each further try has to wait."""
WAIT = timedelta(seconds=30)
LONGEST_NAME = 80
RESERVED = frozenset({"the program", "unknown"})
"""Names that the history gives to nobody in particular."""

NOT_CHANGED = "The people of the practice were not changed."


def people(session: Session, *, gone: bool = False) -> list[Person]:
    """The people registered here, by name; with `gone` also those who left."""
    today = session.today()
    found = [one for one in session.people if gone or one.left is None or one.left > today]
    return sorted(found, key=lambda one: one.name.casefold())


def register(
    session: Session, name: str, duties: Collection[Duty], *, surgeon_id: str | None = None, reason: str | None = None
) -> Person:
    """Register somebody with these duties; the first one also looks after people.

    Needs the duty People once somebody is registered. Refused: a name that is taken, also by another spelling of its
    capital letters, and a surgeon's code that is another's.
    """
    first = not session.people
    if not first:
        session.need(Duty.PEOPLE, act="Registering somebody")
    held = frozenset(duties) | ({Duty.PEOPLE} if first else frozenset())
    person = Person(_name(session, name), held, _code(session, surgeon_id, of=None))
    return _put(session, person, act="register", reason=reason, expect_version=0)


def change(
    session: Session, name: str, *, duties: Collection[Duty], surgeon_id: str | None = None, reason: str
) -> Person:
    """Give somebody other duties or another surgeon's code. Needs the duty People and a reason."""
    session.need(Duty.PEOPLE, act="Changing duties")
    _demand_reason(reason)
    before = _person(session, name)
    after = replace(before, duties=frozenset(duties), surgeon_id=_code(session, surgeon_id, of=name))
    if Duty.PEOPLE not in after.duties:
        _demand_another_keeper(session, before)
    return _put(session, after, act="change duties", reason=reason)


def leave(session: Session, name: str, *, on: date | None = None, reason: str) -> Person:
    """Somebody leaves: from that day (today when none is named) no duty counts; the name stays in the record."""
    session.need(Duty.PEOPLE, act="Noting that somebody leaves")
    _demand_reason(reason)
    before = _person(session, name)
    _demand_another_keeper(session, before)
    return _put(session, replace(before, left=on or session.today()), act="leave", reason=reason)


def come_back(session: Session, name: str, *, reason: str) -> Person:
    """Somebody who left works here again, with the duties held before."""
    session.need(Duty.PEOPLE, act="Noting that somebody is back")
    _demand_reason(reason)
    return _put(session, replace(_person(session, name), left=None), act="come back", reason=reason)


# --- PINs ---


def set_pin(session: Session, new: str, *, old: str | None = None) -> None:
    """Give the person acting a PIN of four to eight digits; whoever has one names it first."""
    me = _person(session, session.person)
    if me.has_pin:
        check_pin(session, me.name, old or "")
    if not pins.well_formed(new):
        raise Refusal(
            what="The PIN was not set.",
            why=f"A PIN has {pins.FEWEST} to {pins.MOST} digits and nothing else.",
            next="Type another one.",
        )
    body = pins.pin_body(new, os.urandom(pins.SALT_BYTES))
    with session.store.writing(by=session.person, act="set PIN") as write:
        write.put_register(PIN, me.name, body, secret=pins.SECRET)


def reset_pin(session: Session, name: str, *, reason: str) -> None:
    """Take somebody's PIN away, so that a new one can be set. Needs the duty People and a reason."""
    session.need(Duty.PEOPLE, act="Resetting a PIN")
    _demand_reason(reason)
    person = _person(session, name)
    none = {"salt": None, "hash": None, "wrong": 0, "wait_until": None}
    with session.store.writing(by=session.person, act="reset PIN", reason=reason) as write:
        write.put_register(PIN, person.name, none, secret=pins.SECRET)


def check_pin(session: Session, name: str, pin: str) -> None:
    """Refuse a PIN that is not this person's. After five wrong ones in a row each further try waits 30 seconds.

    Wrong ones are counted in the record, so that opening the program again does not clear them; where the practice is
    open for reading only they cannot be. Somebody without a PIN passes.
    """
    body = _pin(session, name)
    if body is None:
        return
    until = body.get("wait_until")
    left_to_wait = timedelta() if until is None else datetime.fromisoformat(str(until)) - session.clock()
    if timedelta() < left_to_wait <= WAIT:  # a longer one was counted by a clock that went wrong
        seconds = left_to_wait.total_seconds()
        raise Refusal(
            what="The PIN was not looked at.",
            why=f"{WRONG_AT_ONCE} or more wrong ones were tried in a row.",
            next=f"Try again in {max(1, round(seconds))} seconds, or have the PIN reset under Practice, People.",
        )
    if pins.is_pin(body, pin):
        if body.get("wrong"):
            _count(session, name, body, 0)
        return
    wrong = int(str(body.get("wrong") or 0)) + 1
    _count(session, name, body, wrong)
    left = WRONG_AT_ONCE - wrong
    tries = f"{left} more before a wait" if left > 0 else f"now wait {WAIT.seconds} seconds before each"
    raise Refusal(
        what=f"{name} is not signed in.",
        why="The PIN is not the right one." if pin else "This person has a PIN, and none was typed.",
        next=f"Try again ({tries}), or have the PIN reset under Practice, People.",
    )


def sign_in(session: Session, name: str, pin: str | None = None) -> Session:
    """The same practice with that person acting. Refused: an unknown name, somebody who has left, a wrong PIN."""
    name = name.strip()
    if not session.people:
        if not name:
            raise Refusal("Nobody is signed in.", "No name was given.", "Type your name.")
        return session.acting(name)
    person = _person(session, name, what=f"{name or 'Nobody'} is not signed in.")
    if person.left is not None and person.left <= session.today():
        raise Refusal(
            what=f"{name} is not signed in.",
            why=f"{name} left the practice on {in_letters(person.left)}.",
            next="Sign in with another name, or have this one taken back under Practice, People.",
        )
    check_pin(session, name, pin or "")
    return session.acting(name)


def _pin(session: Session, name: str) -> Mapping[str, object] | None:
    found = [one.body for one in session.store.register(PIN) if one.name == name and one.body.get("hash")]
    return found[0] if found else None


def _count(session: Session, name: str, body: Mapping[str, object], wrong: int) -> None:
    if session.store.read_only:
        return
    until = (session.clock() + WAIT).isoformat() if wrong >= WRONG_AT_ONCE else None
    with session.store.writing(by=session.person, act="wrong PIN" if wrong else "sign in") as write:
        write.put_register(PIN, name, {**body, "wrong": wrong, "wait_until": until}, secret=pins.SECRET)


# --- shared ---


def _put(
    session: Session, person: Person, *, act: str, reason: str | None, expect_version: int | None = None
) -> Person:
    with session.store.writing(by=session.person, act=act, reason=reason) as write:
        write.put_register(PERSON, person.name, body_of(person), expect_version=expect_version)
    return _person(session, person.name)


def _person(session: Session, name: str, *, what: str = NOT_CHANGED) -> Person:
    for one in session.people:
        if one.name == name:
            return one
    raise Refusal(
        what=what,
        why=f"{name or 'Nobody'} is not registered in this practice.",
        next="Choose a name of the list; new people are registered under Practice, People.",
    )


def _name(session: Session, name: str) -> str:
    name = " ".join(name.split())
    taken = {one.name.casefold() for one in session.people}
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        why, then = f"A name has 1 to {LONGEST_NAME} letters.", "Type the name as the person signs."
    elif name.casefold() in RESERVED:
        why, then = "The program itself signs with this name.", "Type the name as the person signs."
    elif name.casefold() in taken:
        why, then = f"{name} is registered already.", "Add something that tells the two apart."
    else:
        return name
    raise Refusal(what=NOT_CHANGED, why=why, next=then)


def _code(session: Session, surgeon_id: str | None, *, of: str | None) -> str | None:
    code = (surgeon_id or "").strip()
    holder = next((one.name for one in session.people if one.surgeon_id == code and one.name != of), None)
    if code and holder is not None:
        raise Refusal(
            what=NOT_CHANGED,
            why=f"The surgeon's code {code} is that of {holder}.",
            next="Each surgeon has a code of their own; choose another one.",
        )
    return code or None


def _demand_another_keeper(session: Session, person: Person) -> None:
    staying = [one for one in session.people if Duty.PEOPLE in one.duties and one.left is None]
    if staying == [person]:
        raise Refusal(
            what=NOT_CHANGED,
            why=f"{person.name} is the last one who looks after people.",
            next="Give the duty People to somebody else first.",
        )


def _demand_reason(reason: str) -> None:
    if not reason.strip():
        raise Refusal(what=NOT_CHANGED, why="Such a change needs a reason.", next="Give it in a few words.")
