"""`tallytare serve --lan --https`: addresses, certificate, two sockets, a QR code that leads in."""

from __future__ import annotations

import re
import socket
import ssl
import stat
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx2
import pytest
import uvicorn
from cryptography import x509

from classifier.errors import StorageError
from service.app import create_app
from service.cli import addresses, serve
from service.cli.addresses import NoNetworkError, lan_addresses
from service.cli.certificate import RENEW_BEFORE, certificate_for
from service.cli.listening import ListeningServer
from service.cli.serve import ListenError, Reach, run_server
from service.services import Services
from service.settings import Settings
from service.web.lan_address import LanAddress
from tests.hostile.server import running
from tests.tiny_bundle import write_tiny_bundle

NOW = datetime(2026, 5, 1, tzinfo=UTC)


def _certificate(path: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(path.read_bytes())


def test_the_certificate_names_where_it_is_used(tmp_path: Path) -> None:
    made = certificate_for(tmp_path / "tls", ["192.168.1.5", "laptop.example"], now=NOW)
    found = _certificate(made.path)
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses_in_it = {str(each) for each in names.get_values_for_type(x509.IPAddress)}
    assert addresses_in_it == {"192.168.1.5", "127.0.0.1"}
    assert {"localhost", "laptop.example"} <= set(names.get_values_for_type(x509.DNSName))
    basic = found.extensions.get_extension_for_class(x509.BasicConstraints).value
    assert basic.ca is False
    assert found.not_valid_after_utc - NOW == timedelta(days=365)
    assert re.fullmatch(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", made.fingerprint)


def test_only_its_owner_may_read_the_key(tmp_path: Path) -> None:
    made = certificate_for(tmp_path / "tls", [], now=NOW)
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(made.path.parent.stat().st_mode) == 0o700
    assert [each.name for each in made.path.parent.iterdir()] == ["certificate.pem"]


def test_it_is_kept_until_shortly_before_its_end(tmp_path: Path) -> None:
    first = certificate_for(tmp_path, ["10.0.0.1"], now=NOW)
    assert certificate_for(tmp_path, ["10.0.0.1"], now=NOW + timedelta(days=300)) == first
    late = first.not_after - RENEW_BEFORE
    renewed = certificate_for(tmp_path, ["10.0.0.1"], now=late)
    assert renewed.fingerprint != first.fingerprint
    assert renewed.not_after == late + timedelta(days=365)
    early = certificate_for(tmp_path, ["10.0.0.1"], now=NOW - timedelta(days=30))
    assert early.fingerprint != renewed.fingerprint  # not valid yet by this clock


def test_another_address_takes_another_certificate_with_the_same_key(tmp_path: Path) -> None:
    first = certificate_for(tmp_path, ["10.0.0.1"], now=NOW)
    key = _certificate(first.path).public_key()
    second = certificate_for(tmp_path, ["10.0.0.2"], now=NOW)
    assert second.fingerprint != first.fingerprint
    assert _certificate(second.path).public_key() == key


@pytest.mark.parametrize("content", [b"", b"no certificate", b"\0" * 100])
def test_a_damaged_one_is_made_anew(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "certificate.pem").write_bytes(content)
    assert certificate_for(tmp_path, [], now=NOW).fingerprint


def test_a_folder_that_can_not_be_written(tmp_path: Path) -> None:
    (tmp_path / "tls").write_text("a file")
    with pytest.raises(StorageError, match="without --https"):
        certificate_for(tmp_path / "tls", [], now=NOW)


def test_no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(addresses, "_of_linux", lambda: iter([("lo", "127.0.0.1")]))
    monkeypatch.setattr(addresses, "_of_others", lambda: iter([("lo", "127.0.0.1")]))
    with pytest.raises(NoNetworkError, match="hotspot"):
        lan_addresses()


def test_the_likeliest_network_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    found = [
        ("lo", "127.0.0.1"),
        ("wlan1", "169.254.3.4"),
        ("docker0", "172.17.0.1"),
        ("eth0", "8.8.4.4"),
        ("wlan0", "192.168.1.5"),
    ]
    monkeypatch.setattr(addresses, "_of_linux", lambda: iter(found))
    monkeypatch.setattr(addresses, "_of_others", lambda: iter(found))
    assert lan_addresses() == ("192.168.1.5", "8.8.4.4", "172.17.0.1", "169.254.3.4")


def test_https_without_a_network_is_a_mistake() -> None:
    with pytest.raises(ListenError, match="add --lan"):
        run_server(Settings(port=0), reach=Reach(https=True))


@contextmanager
def _listening(app: object, certificate: Path) -> Iterator[tuple[int, int]]:
    local, beyond = (socket.create_server(("127.0.0.1", 0)) for _ in range(2))
    ports = local.getsockname()[1], beyond.getsockname()[1]
    server = ListeningServer(app, local=local, beyond=beyond, certificate=lambda: certificate)  # type: ignore[arg-type]
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        while not server.started:
            thread.join(0.02)
        yield ports
    finally:
        server.should_exit = True
        thread.join()
        local.close()
        beyond.close()


def test_http_for_this_machine_and_https_for_the_network(
    settings: Settings, services: Services, tmp_path: Path
) -> None:
    """One app behind both; each knows which it is."""
    made = certificate_for(tmp_path / "tls", [])
    app = create_app(settings, services=services, lan_address=LanAddress("https://127.0.0.1"))
    trusted = ssl.create_default_context(cafile=made.path)
    with _listening(app, made.path) as (local, beyond):
        assert httpx2.get(f"http://127.0.0.1:{local}/api/health").status_code == 200
        with httpx2.Client(verify=trusted, base_url=f"https://127.0.0.1:{beyond}") as client:
            assert client.get("/api/health").status_code == 200
            left = client.post("/leave")
            assert left.headers["set-cookie"].startswith("__Host-tallytare=")
        with pytest.raises(httpx2.HTTPError):
            httpx2.get(f"http://127.0.0.1:{beyond}/api/health")


def test_a_proxys_headers_change_nothing() -> None:
    """Uvicorn would else believe them of anybody on this machine."""
    server = ListeningServer(None, local=None, beyond=None)  # type: ignore[arg-type]
    assert isinstance(server, uvicorn.Server)
    assert server.config.proxy_headers is False


@pytest.mark.slow
def test_a_phone_follows_the_code_in_the_terminal(tmp_path: Path) -> None:
    """From what `serve --lan --https` prints to a session, by the machine's own network address."""
    try:
        address = lan_addresses()[0]
    except NoNetworkError as error:
        pytest.skip(error.message)
    bundle = write_tiny_bundle(tmp_path / "bundle")
    data = tmp_path / "store" / "data"
    with running(data, bundle=str(bundle), arguments=("--lan", "--https")) as server:
        said = server.log.read_text("utf-8")
        link = re.search(
            rf"https://{re.escape(address)}:{server.port}/join/([0-9A-Z-]{{14}})", said
        )
        assert link is not None, said
        made = data / "tls" / "certificate.pem"
        fingerprint = certificate_for(data / "tls", [address]).fingerprint
        assert fingerprint in said
        assert fingerprint.encode() in server.ask("/devices")
        trusted = ssl.create_default_context(cafile=made)
        base = f"https://{address}:{server.port}"
        with httpx2.Client(verify=trusted, base_url=base) as phone:
            assert phone.get("/api/sorts").status_code == 401
            assert link[1] in phone.get(f"/join/{link[1]}").text
            joined = phone.post("/join", data={"code": link[1], "name": "Ana"})
            assert joined.status_code == 303
            assert phone.get("/api/sorts").status_code == 200
            assert phone.get("/devices").status_code == 403
            revoke = re.search(rb'action="(/devices/[0-9a-f-]{36}/revoke)"', server.ask("/devices"))
            assert revoke is not None
            server.ask(revoke[1].decode(), b"")
            assert phone.get("/api/sorts").status_code == 401
        with pytest.raises(httpx2.HTTPError):
            httpx2.get(f"http://{address}:{server.port}/")


def test_what_is_said_without_https(
    settings: Settings, services: Services, capsys: pytest.CaptureFixture[str]
) -> None:
    """A code, and what phones can't do without HTTPS."""
    serve._invite(services, LanAddress("http://192.168.1.5:8017"), "http://127.0.0.1:8017")
    said = capsys.readouterr().out
    assert "http://192.168.1.5:8017/join/" in said
    assert "Live camera needs HTTPS" in said
    assert "http://127.0.0.1:8017/devices" in said
    assert settings.data_dir.exists()
