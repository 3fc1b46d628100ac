"""Codes let one device in, in time, and a device that is shut out is out everywhere."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from itertools import cycle

import pytest

from classifier.errors import InvalidEntryError, NotLetInError, UnknownIdError
from service.model_cache import LoadedModel
from service.services import Services
from service.settings import Settings
from service.web import access
from service.wiring import build_services
from tests.fakes import FakeClock, FakePredictor, model_record, new_id


def _joined(services: Services, role: str = "sorter", name: str = "Ana") -> access.Session:
    code = access.make_join_code(services, role=role)
    return access.join(services, code=code.code, name=name)


@pytest.mark.parametrize("role", ["sorter", "trainer", "owner"])
def test_a_code_lets_one_device_in_as_its_role(services: Services, role: str) -> None:
    code = access.make_join_code(services, role=role)
    session = access.join(services, code=code.code, name="  Ana's phone ")
    found = access.device_of(services, session.token)
    assert found is not None
    assert (found.name, found.role, found.revoked) == ("Ana's phone", role, False)
    with pytest.raises(NotLetInError, match="used already"):
        access.join(services, code=code.code, name="Bo")
    assert [each.name for each in access.list_devices(services)] == ["Ana's phone"]


def test_a_code_may_be_typed_as_it_is_read(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In groups, in small letters, with letters that look like those of the code."""
    letters = cycle("01V5")
    with monkeypatch.context() as patched:
        patched.setattr("service.web.access.secrets.choice", lambda _: next(letters))
        code = access.make_join_code(services, role="sorter")
    assert (code.code, code.grouped) == ("01V501V501V5", "01V5-01V5-01V5")
    assert access.join(services, code="oiu5 OLU5-o1v5", name="Ana").device.role == "sorter"


def test_a_code_is_not_burnt_by_a_name_that_is_wrong(services: Services) -> None:
    code = access.make_join_code(services, role="sorter")
    for name in ("", "   ", "x" * 81, "\u200b"):
        with pytest.raises(InvalidEntryError):
            access.join(services, code=code.code, name=name)
    assert access.join(services, code=code.code, name="x" * 80)


@pytest.mark.parametrize("code", ["", "AAAA-AAAA-AAAA", "\u00e4", "x" * 100_000, "' OR 1=1 --"])
def test_a_code_that_nobody_made(services: Services, code: str) -> None:
    access.make_join_code(services, role="sorter")
    with pytest.raises(NotLetInError, match="no such join code"):
        access.join(services, code=code, name="Ana")


def test_a_code_ends_after_ten_minutes(services: Services, clock: FakeClock) -> None:
    young, old = (access.make_join_code(services, role="sorter") for _ in range(2))
    clock.now += timedelta(minutes=9, seconds=50)
    assert access.join(services, code=young.code, name="Ana")
    clock.now += timedelta(seconds=10)
    with pytest.raises(NotLetInError, match="too old"):
        access.join(services, code=old.code, name="Bo")


def test_a_clock_set_back_makes_no_old_code_young(services: Services, clock: FakeClock) -> None:
    code = access.make_join_code(services, role="sorter")
    clock.now -= timedelta(days=1)
    with pytest.raises(NotLetInError, match="too old"):
        access.join(services, code=code.code, name="Ana")


def test_no_other_roles(services: Services) -> None:
    for role in ("", "laptop", "nobody", "Owner", "admin"):
        with pytest.raises(InvalidEntryError, match="choose one of sorter, trainer, owner"):
            access.make_join_code(services, role=role)


def test_shut_out_at_once_and_only_that_one(services: Services) -> None:
    first, second = _joined(services), _joined(services, name="Bo")
    for _ in range(2):  # again changes nothing
        assert access.revoke(services, device_id=first.device.id).revoked
    assert access.device_of(services, first.token) is None
    assert access.device_of(services, second.token) is not None
    with pytest.raises(UnknownIdError):
        access.revoke(services, device_id=new_id())


def test_a_session_ends_after_thirty_days(services: Services, clock: FakeClock) -> None:
    session = _joined(services)
    clock.now += timedelta(days=30)
    assert access.device_of(services, session.token) is None
    assert access.expired(services, session.device)


@pytest.mark.parametrize("token", ["", "x", "x" * 43, "\u00ff"])
def test_a_token_that_nobody_was_given(services: Services, token: str) -> None:
    _joined(services)
    assert access.device_of(services, token) is None


def test_two_devices_at_once_with_one_code(services: Services) -> None:
    """One is in, the other hears so."""
    code = access.make_join_code(services, role="owner").code

    def attempt(name: str) -> bool:
        try:
            access.join(services, code=code, name=name)
        except NotLetInError:
            return False
        return True

    with ThreadPoolExecutor(8) as phones:
        assert sum(phones.map(attempt, "abcdefgh")) == 1
    assert len(access.list_devices(services)) == 1


def test_several_service_processes_share_who_is_in(
    services: Services, settings: Settings, clock: FakeClock
) -> None:
    """Code from one, joined at another, shut out at the first: nothing is remembered outside."""
    model = LoadedModel(FakePredictor(), model_record(), "")
    other = build_services(settings, model=model)
    try:
        clock.now = other.clock()
        code = access.make_join_code(other, role="sorter")
        session = access.join(services, code=code.code, name="Ana")
        assert access.device_of(other, session.token) is not None
        access.revoke(services, device_id=session.device.id)
        assert access.device_of(other, session.token) is None
    finally:
        other.close()


@pytest.mark.sqlite_only
def test_no_secret_is_stored(services: Services, settings: Settings) -> None:
    code = access.make_join_code(services, role="owner")
    session = access.join(services, code=code.code, name="Ana")
    services.close()
    stored = b"".join(each.read_bytes() for each in settings.data_dir.rglob("*") if each.is_file())
    assert session.device.id.encode() in stored
    for secret in (code.code, code.grouped, session.token):
        assert secret.encode() not in stored


def test_devices_are_never_exported(services: Services) -> None:
    _joined(services)
    assert {table.name for table in services.log.tables()}.isdisjoint(
        {"join_codes", "devices", "device_revocations"}
    )
