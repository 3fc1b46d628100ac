"""The address that other devices open, and the QR code of the link that lets them join."""

from __future__ import annotations

import io
from dataclasses import dataclass

import segno
from markupsafe import Markup

QUIET_MODULES = 4
"""Empty margin that ISO/IEC 18004 asks for around a QR code (A)."""


@dataclass(frozen=True, slots=True)
class LanAddress:
    """The address that other devices open, empty while only this machine is listened to."""

    address: str = ""
    others: tuple[str, ...] = ()
    """The same service under this machine's other addresses."""
    fingerprint: str = ""
    """SHA-256 of the certificate in hexadecimal, under HTTPS."""

    @property
    def secure(self) -> bool:
        """Whether devices come over HTTPS."""
        return self.address.startswith("https:")

    def join_link(self, grouped_code: str) -> str:
        """Return the link that a device opens to join."""
        return f"{self.address}/join/{grouped_code}"


def qr_svg(text: str) -> Markup:
    """Return a QR code as SVG for a page; black on white in any colour scheme."""
    out = io.BytesIO()
    segno.make_qr(text, error="m").save(
        out,
        kind="svg",
        border=QUIET_MODULES,
        dark="#000",
        light="#fff",
        xmldecl=False,
        svgns=True,
        omitsize=True,
        svgclass="qr",
        lineclass=None,
        title="QR code of the join link",
    )
    return Markup(out.getvalue().decode())


def qr_text(text: str) -> str:
    """Return a QR code for a terminal, two modules a character."""
    out = io.StringIO()
    segno.make_qr(text, error="m").terminal(out, border=QUIET_MODULES, compact=True)
    return out.getvalue()
