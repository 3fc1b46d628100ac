"""Letting devices in: one-time join codes, a session each, and removing access again.

Secrets leave this module once, to be shown or sent; what is stored is their SHA-256. They are drawn
at random with 60 bits (codes, for ten minutes) and 256 bits (tokens), so the digests need no salt.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from uuid import uuid4

from classifier.errors import InvalidEntryError
from service.entries import check_id, check_text
from service.services import Services
from service.store.access_log import DeviceRecord

CODE_LIFE = timedelta(minutes=10)
SESSION_LIFE = timedelta(days=30)
LONGEST_NAME = 80
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # without I, L, O and U, which are misread
_CODE_LETTERS = 12
_MISREAD = str.maketrans({"I": "1", "L": "1", "O": "0", "U": "V"})


class Role(StrEnum):
    """What a device was let in as; what each may do stands in service/web/roles.py."""

    SORTER = "sorter"
    TRAINER = "trainer"
    OWNER = "owner"


@dataclass(frozen=True, slots=True)
class JoinCode:
    """A code to be shown once: it works for one device until `expires_at`."""

    code: str
    role: Role
    expires_at: datetime

    @property
    def grouped(self) -> str:
        """The code in groups of four, to be read out or typed."""
        return "-".join(self.code[at : at + 4] for at in range(0, len(self.code), 4))


@dataclass(frozen=True, slots=True)
class Session:
    """A device that has just joined, with the token that only it will know."""

    device: DeviceRecord
    token: str


def make_join_code(services: Services, *, role: str) -> JoinCode:
    """Make a code that lets one device in as `role` within ten minutes.

    Raises InvalidEntryError for another role than sorter, trainer or owner.
    """
    if role not in set(Role):
        raise InvalidEntryError(
            f"role {role!r} is none: choose one of {', '.join(Role)}", given=role
        )
    code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LETTERS))
    now = services.clock()
    made = JoinCode(code, Role(role), now + CODE_LIFE)
    services.log.add_join_code(
        str(uuid4()), code_digest=_digest(code), role=role, expires_at=made.expires_at, at=now
    )
    return made


def join(services: Services, *, code: str, name: str) -> Session:
    """Let a device in and return its token, which is stored nowhere here.

    Raises NotLetInError when the code is unknown, used or too old, InvalidEntryError for a name
    that is empty or too long.
    """
    called = check_text(name, "name", longest=LONGEST_NAME, needed=True)
    token = secrets.token_urlsafe(32)
    device = services.log.add_device(
        str(uuid4()),
        code_digest=_digest(_as_made(code)),
        name=called,
        token_digest=_digest(token),
        at=services.clock(),
    )
    return Session(device, token)


def device_of(services: Services, token: str) -> DeviceRecord | None:
    """Return the device that a token belongs to, None if it has no access any more."""
    joined_after = services.clock() - SESSION_LIFE
    return services.log.device_of(_digest(token), joined_after=joined_after)


def list_devices(services: Services) -> tuple[DeviceRecord, ...]:
    """Return all devices that ever joined, the newest first."""
    return services.log.list_devices()


def expired(services: Services, device: DeviceRecord) -> bool:
    """Tell whether a device has to join again because of its age."""
    return device.at <= services.clock() - SESSION_LIFE


def revoke(services: Services, *, device_id: str) -> DeviceRecord:
    """Remove a device's access from its next request on.

    Raises UnknownIdError when there is no such device.
    """
    own = check_id(device_id, "device_id")
    return services.log.revoke_device(own, revocation_id=str(uuid4()), at=services.clock())


def _as_made(code: str) -> str:
    """Return a code as it was made, however it was typed."""
    letters = "".join(each for each in code.upper() if each.isascii() and each.isalnum())
    return letters.translate(_MISREAD)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
