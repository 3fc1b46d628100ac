"""One colour and one hatching for each recovery route, so that charts read in grey as in colour.

The colours are those of Okabe and Ito, "Color Universal Design" (2008), chosen to stay apart for
colour-blind readers. They are given to routes, never to materials, and on purpose not by the
colours that bins have anywhere (no blue for recycling, no green for garden, no black for residual).
The hatching alone is enough to tell two routes apart on a photocopy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from markupsafe import Markup

INK = "#1b1f1e"


@dataclass(frozen=True, slots=True)
class RouteMark:
    """Fill colour and the hatch drawn over it, a path within an 8 by 8 tile."""

    colour: str
    hatch: str
    stroke: float = 1.2


ROUTE_MARKS: Mapping[str, RouteMark] = MappingProxyType(
    {
        "kerbside": RouteMark("#E69F00", "M-1 9 9-1M-1 1 1-1M7 9 9 7"),
        "drop_off": RouteMark("#56B4E9", "M-1-1 9 9M7-1 9 1M-1 7 1 9"),
        "retailer_take_back": RouteMark("#CC79A7", "M0 2H8M0 6H8"),
        "deposit_return": RouteMark("#F0E442", "M2 0V8M6 0V8"),
        "organics": RouteMark("#0072B2", "M3 4a1 1 0 1 0 2 0a1 1 0 1 0-2 0", 2.0),
        "garden_organics": RouteMark("#B5D9F2", "M0 6 4 2 8 6"),
        "reuse": RouteMark("#009E73", "M4 0V8M0 4H8"),
        "special_collection": RouteMark("#D55E00", "M-1 9 9-1M-1-1 9 9", 1.6),
        "with_contents": RouteMark("#E8D8C3", "M0 5q2-3 4 0t4 0"),
        "residual": RouteMark("#DDDDDD", ""),
        "undecided": RouteMark("#FFFFFF", "M1 4H3", 1.6),
    }
)


def _pattern(route: str, mark: RouteMark) -> str:
    hatch = (
        f'<path d="{mark.hatch}" fill="none" stroke="{INK}" stroke-width="{mark.stroke}"/>'
        if mark.hatch
        else ""
    )
    return (
        f'<pattern id="route-{route}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<rect width="8" height="8" fill="{mark.colour}"/>{hatch}</pattern>'
    )


def route_defs() -> Markup:
    """Return the hidden SVG that defines all patterns; it must stand once in a page.

    A chart that defined its own would lose them while it is not displayed, on a phone.
    """
    patterns = "".join(_pattern(route, mark) for route, mark in ROUTE_MARKS.items())
    patterns += (
        '<pattern id="count-hatch" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<rect width="6" height="6" fill="#ffffff"/><path d="M-1 7 7-1" stroke="{INK}"/></pattern>'
    )
    return Markup(
        '<svg class="unseen" width="0" height="0" aria-hidden="true" focusable="false">'
        f"<defs>{patterns}</defs></svg>"
    )


def swatch(route: str) -> Markup:
    """Return a small patch of a route's pattern, to stand before the route's name."""
    known = route if route in ROUTE_MARKS else "undecided"
    return Markup(
        '<svg class="swatch" viewBox="0 0 28 20" aria-hidden="true" focusable="false">'
        f'<rect width="28" height="20" fill="url(#route-{known})" stroke="{INK}" '
        'stroke-width="2"/></svg>'
    )
