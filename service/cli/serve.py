"""`tallytare serve`: the pages, until Ctrl+C."""

from __future__ import annotations

import contextlib
import gc
import os
import socket
import sys
import webbrowser
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from classifier.errors import TallytareError
from service.cli.addresses import lan_addresses
from service.cli.settings import Bundle, Host, Open, Port, read_settings
from service.memory import share_arenas
from service.services import Services
from service.settings import Settings
from service.web.access import CODE_LIFE, Role, make_join_code
from service.web.lan_address import LanAddress, qr_text
from service.web.visitors import is_loopback
from service.wiring import build_services

if TYPE_CHECKING:
    from service.cli.certificate import Certificate

app = typer.Typer()
_EVERY_ADDRESS = ("0.0.0.0", "::")


class ListenError(TallytareError):
    """The address or port can't be listened on."""

    code = "listen"


@dataclass(frozen=True, slots=True)
class Reach:
    """Who can reach the service, beside this machine."""

    lan: bool = False
    https: bool = False


@app.command("serve")
def serve_command(
    host: Host = "",
    port: Port = None,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on this network join, with a QR code.")
    ] = False,
    https: Annotated[
        bool, typer.Option("--https", help="HTTPS for them, with a certificate made here.")
    ] = False,
    open_browser: Open = False,
    bundle: Bundle = "",
) -> None:
    """Serve the pages: start a sort, photograph, weigh, report. Stop with Ctrl+C."""
    run_server(
        read_settings(host=host, port=port, bundle=bundle),
        open_browser=open_browser,
        reach=Reach(lan=lan, https=https),
    )


def run_server(
    settings: Settings,
    *,
    services: Services | None = None,
    path: str = "/",
    open_browser: bool = False,
    reach: Reach | None = None,
) -> None:
    """Serve the pages on the loopback and, if asked to, to devices that join with a code.

    Raises ListenError when another program has the port, NoNetworkError when there is no network
    to be reached from, and what `create_app` raises.
    """
    share_arenas()
    reach = reach or Reach()
    settings = _on_network(settings, reach)
    everywhere = settings.host in _EVERY_ADDRESS
    with contextlib.ExitStack() as stack:
        # Every address takes in the loopback; else that is listened on beside the one address.
        own = settings.host if everywhere else _loopback_of(settings)
        local: socket.socket | None = stack.enter_context(_listening(own, settings.port))
        port = local.getsockname()[1] if local else settings.port
        beyond = None
        if everywhere:
            local, beyond = None, local
        elif own != settings.host:
            beyond = stack.enter_context(_listening(settings.host, port))
        doors = _Doors(settings, port, reach.https) if beyond else None
        used = build_services(settings) if services is None else services
        # Only now: the web framework loads while the model does, on a thread of its own.
        from service.app import create_app
        from service.cli.listening import ListeningServer

        app = create_app(
            settings, services=used, lan_address=doors.lan_address() if doors else None
        )
        here = f"{'https' if reach.https and everywhere else 'http'}://{_shown(own)}:{port}"
        typer.echo(f"\nOpen {here}{path}\nStop with Ctrl+C.")
        if doors:
            _invite(used, doors.lan_address(), here)
        if open_browser and _has_screen():
            webbrowser.open(f"{here}{path}")

        def certificate() -> Path:
            """Return the file of the certificate in use, and show its fingerprint on the page."""
            assert doors is not None
            app.state.lan_address = doors.lan_address()
            return doors.certificate().path

        secure = certificate if doors and reach.https else None
        gc.freeze()  # what is loaded stays: looking for garbage in it would hold up photos
        server = ListeningServer(app, local=local, beyond=beyond, certificate=secure)
        # The server hands the signal on after it stopped, unless it was started to ignore it.
        with contextlib.suppress(KeyboardInterrupt):
            server.run()
        typer.echo("Stopped.")


@dataclass(frozen=True, slots=True)
class _Doors:
    """The addresses under which other devices come in."""

    settings: Settings
    port: int
    https: bool

    def hosts(self) -> tuple[str, ...]:
        if self.settings.host in _EVERY_ADDRESS:
            return lan_addresses()
        return (self.settings.host,)

    def certificate(self) -> Certificate:
        # Only where it is asked for: most starts need no cryptography.
        from service.cli.certificate import certificate_for

        return certificate_for(self.settings.data_dir / "tls", self.hosts())

    def lan_address(self) -> LanAddress:
        scheme = "https" if self.https else "http"
        addresses = [f"{scheme}://{_shown(host)}:{self.port}" for host in self.hosts()]
        fingerprint = self.certificate().fingerprint if self.https else ""
        return LanAddress(addresses[0], tuple(addresses[1:]), fingerprint)


def _on_network(settings: Settings, reach: Reach) -> Settings:
    if reach.lan and is_loopback(settings.host):
        return settings.model_copy(update={"host": lan_addresses()[0]})
    if reach.https and is_loopback(settings.host):
        raise ListenError(
            "--https is for other devices, and only this machine is listened to: add --lan; on "
            "this machine itself browsers give pages the camera without HTTPS"
        )
    return settings


def _loopback_of(settings: Settings) -> str:
    return settings.host if is_loopback(settings.host) else "127.0.0.1"


def _invite(services: Services, lan_address: LanAddress, here: str) -> None:
    """Show the first join code in the terminal; the next ones come from the page."""
    code = make_join_code(services, role=Role.SORTER)
    link = lan_address.join_link(code.grouped)
    minutes = int(CODE_LIFE.total_seconds() // 60)
    typer.echo(f"\nFor a phone on this network: scan this, or open {link}\n")
    typer.echo(qr_text(link))
    typer.echo(
        f"It lets one device in as sorter, once, within {minutes} minutes. More codes, other "
        f"roles and removing access: {here}/devices"
    )
    if lan_address.secure:
        typer.echo(
            f"Phones warn of a certificate that they don't know; its SHA-256 fingerprint is\n"
            f"{lan_address.fingerprint}"
        )
    else:
        typer.echo(
            "Live camera needs HTTPS there (--https); the camera button of a phone works "
            "without. Without HTTPS, use a network of your own: others on it could listen."
        )


def _listening(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family)
    except OSError as error:
        # Python adds the address to the system's words; negative numbers are of name look-ups.
        reason = os.strerror(error.errno) if error.errno and error.errno > 0 else error.strerror
        raise ListenError(
            f"{host} port {port} can't be listened on ({reason}); allowed: an address of "
            "this machine and a port that no other program has; stop that program, or give "
            "--port another number (0 picks a free one)",
            host=host,
            port=port,
        ) from error


def _shown(host: str) -> str:
    if host in _EVERY_ADDRESS:
        return "localhost"
    return f"[{host}]" if ":" in host else host


def _has_screen() -> bool:
    # Without one, Python would start a text browser in this terminal.
    if sys.platform.startswith("linux"):
        return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    return True
