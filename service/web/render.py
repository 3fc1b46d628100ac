"""Templates, and the few ways in which figures are written in them."""

from __future__ import annotations

import json
import uuid
from datetime import date, datetime
from decimal import Decimal
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.responses import HTMLResponse

from service.web.charts import percent
from service.web.forms import FormState
from service.web.route_marks import swatch
from service.web.shell import SHELL_HEADER, shell_version
from service.web.visitors import current_visitor

NOTHING = "\u2013"
_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()


def weight(grams: Decimal | None) -> str:
    """Return a mass as it is read aloud: grams below one kilogram, else kilograms."""
    if grams is None:
        return NOTHING
    if abs(grams) < 1000:
        decimals = 0 if grams == grams.to_integral_value() else 1
        return f"{grams:.{decimals}f}\u00a0g"
    return f"{grams / 1000:.3f}\u00a0kg"


def about(number: Decimal) -> str:
    """Return an estimated count: whole from ten on, one decimal below."""
    return f"{number:.0f}" if number >= 10 else f"{number:.1f}"


def exact(number: Decimal | None) -> str:
    """Return a reading with the digits that were typed, never in powers of ten."""
    return NOTHING if number is None else f"{number:f}"


def day(value: date) -> str:
    """Return a date that can't be read the wrong way round; a moment's by this machine's clock."""
    value = value.astimezone() if isinstance(value, datetime) else value
    return f"{value.day} {_MONTHS[value.month - 1]} {value.year}"


def clock(value: datetime) -> str:
    """Return the time of day of a record by this machine's own clock."""
    return f"{value.astimezone():%H:%M}"


def share(value: Decimal | float | None) -> str:
    """Return a fraction in per cent."""
    return percent(None if value is None else float(value))


def as_data(value: Any) -> Markup:
    """Return JSON that is safe inside a data block of the page."""
    text = json.dumps(value, ensure_ascii=True, default=str)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def new_id() -> str:
    """Return a fresh id for a form, so that sending it twice counts once."""
    return str(uuid.uuid4())


def _may(permission: str) -> bool:
    return current_visitor().may(permission)


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("service.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        about=about, weight=weight, exact=exact, day=day, clock=clock, share=share, as_data=as_data
    )
    environment.globals.update(
        new_id=new_id, swatch=swatch, here="", visitor=current_visitor, may=_may
    )
    return environment


_ENVIRONMENT = _environment()


def page(template: str, *, status: int | None = None, **values: Any) -> HTMLResponse:
    """Fill a template; pages are never kept by the browser, for they change with each item.

    Without a `status` it is that of a refused form among the values, else 200.
    """
    if status is None:
        forms = (each for each in values.values() if isinstance(each, FormState))
        status = max((form.status for form in forms), default=200)
    body = _ENVIRONMENT.get_template(template).render(**values)
    headers = {"cache-control": "no-store", SHELL_HEADER: shell_version()}
    return HTMLResponse(body, status_code=status, headers=headers)


def static_directory() -> str:
    """Return the folder of the style sheets and scripts, wherever the package is installed."""
    return str(files("service.web") / "static")
