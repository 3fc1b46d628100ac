"""Join codes and the devices that came in with them; only digests of secrets are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, Select, exists, select

from classifier.errors import NotLetInError, UnknownIdError
from service.store.append import insert
from service.store.part import LogPart
from service.store.rows import Row, record
from service.store.tables import device_revocations, devices, join_codes


@dataclass(frozen=True, slots=True)
class DeviceRecord:
    """A device that joined: the name that its user chose, its role, since when."""

    id: str
    name: str
    role: str
    at: datetime
    revoked: bool


class AccessLog(LogPart):
    """The part of the log that is about who may come in from another device."""

    def add_join_code(
        self, code_id: str, *, code_digest: str, role: str, expires_at: datetime, at: datetime
    ) -> None:
        """Record a new join code by its digest."""
        values = {
            "id": code_id,
            "code_digest": code_digest,
            "role": role,
            "expires_at": expires_at,
            "at": at,
        }
        self._database.write(
            lambda connection: insert(connection, join_codes, {"code": code_digest}, values)
        )

    def add_device(
        self, device_id: str, *, code_digest: str, name: str, token_digest: str, at: datetime
    ) -> DeviceRecord:
        """Let a device in with a join code, which works no second time.

        Raises NotLetInError when the code is unknown, used or too old.
        """

        def work(connection: Connection) -> DeviceRecord:
            code = _usable_code(connection, code_digest, at)
            values = {
                "id": device_id,
                "join_code_id": code["id"],
                "name": name,
                "token_digest": token_digest,
                "role": code["role"],
                "at": at,
            }
            # Two at once with one code: the second insert breaks the unique index, `work` runs
            # again and finds the code used.
            insert(connection, devices, {"name": name, "token": token_digest}, values)
            return DeviceRecord(device_id, name, code["role"], at, revoked=False)

        return self._database.write(work)

    def device_of(self, token_digest: str, *, joined_after: datetime) -> DeviceRecord | None:
        """Return the device of a token, None if it was removed or joined too long ago."""
        query = _devices().where(
            devices.c.token_digest == token_digest, devices.c.at > joined_after
        )
        found = next((_device(row) for row in self._rows(query)), None)
        return None if found is None or found.revoked else found

    def list_devices(self) -> tuple[DeviceRecord, ...]:
        """Return all devices that ever joined, the newest first."""
        return tuple(_device(row) for row in self._rows(_devices().order_by(devices.c.seq.desc())))

    def revoke_device(self, device_id: str, *, revocation_id: str, at: datetime) -> DeviceRecord:
        """Let a device in no longer; once is enough, again changes nothing.

        Raises UnknownIdError when there is no such device.
        """

        def work(connection: Connection) -> DeviceRecord:
            query = _devices().where(devices.c.id == device_id)
            row = connection.execute(query).mappings().first()
            if row is None:
                raise UnknownIdError(
                    f"there is no device {device_id!r}: load the list of devices again",
                    id=device_id,
                )
            if not row["revoked"]:
                values = {"id": revocation_id, "device_id": device_id, "at": at}
                insert(connection, device_revocations, {"device_id": device_id}, values)
            return _device(connection.execute(query).mappings().one())

        return self._database.write(work)


def _usable_code(connection: Connection, code_digest: str, now: datetime) -> Row:
    used = exists().where(devices.c.join_code_id == join_codes.c.id).label("used")
    query = select(join_codes, used).where(join_codes.c.code_digest == code_digest)
    code = connection.execute(query).mappings().first()
    if code is None:
        raise NotLetInError(
            "there is no such join code: scan or type the one that the laptop shows now"
        )
    if code["used"]:
        raise NotLetInError(
            "this join code was used already: each lets one device in; make another at the laptop"
        )
    # A clock that was set back must not make an old code young again.
    if not timedelta(0) <= code["expires_at"] - now <= code["expires_at"] - code["at"]:
        raise NotLetInError("this join code is too old: make another at the laptop")
    return code


def _devices() -> Select[tuple[Mapping[str, object]]]:
    revoked = exists().where(device_revocations.c.device_id == devices.c.id).label("revoked")
    return select(devices, revoked)


def _device(row: Row) -> DeviceRecord:
    return record(DeviceRecord, row)
