"""`tallytare serve`: the pages, until Ctrl+C."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
import sys
import webbrowser

import typer
import uvicorn

from classifier.domain.errors import TallytareError
from service.app import create_app
from service.settings import Settings
from service.usecases.services import Services
from service.web.patience import PatientProtocol

_GRACE_S = 5


class ListenError(TallytareError):
    """The address or port can't be listened on."""

    code = "listen"


def run_server(
    settings: Settings,
    *,
    services: Services | None = None,
    path: str = "/",
    open_browser: bool = False,
) -> None:
    """Serve the pages at the host and port of the settings.

    Raises ListenError when another program has the port, and what `create_app` raises.
    """
    with _listening(settings.host, settings.port) as listener:
        app = create_app(settings, services=services)
        port = listener.getsockname()[1]
        address = f"http://{_shown(settings.host)}:{port}{path}"
        typer.echo(f"\nOpen {address}\nStop with Ctrl+C.")
        if not _is_local(settings.host):
            typer.echo(
                "Others on this network can open it, without a password. Live camera needs "
                "HTTPS there; the camera button of a phone works without."
            )
        if open_browser and _has_screen():
            webbrowser.open(address)
        config = uvicorn.Config(
            app,
            http=PatientProtocol,
            ws="none",
            log_level="warning",
            server_header=False,
            access_log=False,
            timeout_graceful_shutdown=_GRACE_S,
        )
        # The server hands the signal on after it stopped, unless it was started to ignore it.
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listener])
        typer.echo("Stopped.")


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


def _is_local(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _shown(host: str) -> str:
    if host in ("0.0.0.0", "::"):
        return "localhost"
    return f"[{host}]" if ":" in host else host


def _has_screen() -> bool:
    # Without one, Python would start a text browser in this terminal.
    if sys.platform.startswith("linux"):
        return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    return True
