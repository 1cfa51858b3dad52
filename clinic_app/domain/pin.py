"""A PIN as the record keeps it: a salted hash, never the digits.

The hash is scrypt (RFC 7914) with 16 MiB of memory: four to eight digits are few, so each guess should at least cost.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Mapping

SALT_BYTES = 16
FEWEST, MOST = 4, 8
"""Digits of a PIN."""
SECRET = frozenset({"salt", "hash"})
"""Keys of the body that never enter the history."""
_N, _R, _P = 2**14, 8, 1
_PIN = re.compile(f"[0-9]{{{FEWEST},{MOST}}}")


def well_formed(pin: str) -> bool:
    """Whether the text is four to eight digits."""
    return _PIN.fullmatch(pin) is not None


def pin_body(pin: str, salt: bytes) -> dict[str, object]:
    """The PIN as the body of a register entry; nothing wrong was tried yet. ValueError when it is no PIN."""
    if not well_formed(pin):
        raise ValueError("a PIN has four to eight digits")
    return {"salt": salt.hex(), "hash": _hash(pin, salt), "wrong": 0, "wait_until": None}


def is_pin(body: Mapping[str, object], pin: str) -> bool:
    """Whether the digits are those of the body; takes as long for a wrong one as for the right one."""
    salt = bytes.fromhex(str(body["salt"]))
    return hmac.compare_digest(_hash(pin, salt), str(body["hash"]))


def _hash(pin: str, salt: bytes) -> str:
    return hashlib.scrypt(pin.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=2**26, dklen=32).hex()
