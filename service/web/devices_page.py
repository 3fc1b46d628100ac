"""The laptop's list of devices with its join codes, and the page on which a device joins."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from classifier.errors import InvalidEntryError, NotLetInError, TallytareError
from service.services import Services
from service.web import access
from service.web.attempts import Attempts
from service.web.dependencies import ServicesDep
from service.web.forms import FormState, Typed, refused
from service.web.lan_address import LanAddress, qr_svg
from service.web.page_support import go_to
from service.web.render import page
from service.web.visitors import current_visitor, session_token, set_session

router = APIRouter()

ROLES = (
    ("sorter", "Sorter", "photographs, confirms, corrects and weighs; starts and closes sorts"),
    ("trainer", "Trainer", "the same; also reviews examples, manages studies and learning"),
    ("owner", "Owner", "the same; also chooses the model. Only this laptop can add devices"),
)


def get_lan_address(request: Request) -> LanAddress:
    """Return where other devices come in."""
    lan_address: LanAddress = request.app.state.lan_address
    return lan_address


def get_attempts(request: Request) -> Attempts:
    """Return the memory of failed attempts."""
    attempts: Attempts = request.app.state.attempts
    return attempts


LanAddressDep = Annotated[LanAddress, Depends(get_lan_address)]
AttemptsDep = Annotated[Attempts, Depends(get_attempts)]


@router.get("/devices", response_class=HTMLResponse)
def show_devices(services: ServicesDep, lan_address: LanAddressDep) -> HTMLResponse:
    """List who has joined; only the laptop itself gets here."""
    return _devices(services, lan_address)


@router.post("/devices/codes", response_class=HTMLResponse)
def make_code(services: ServicesDep, lan_address: LanAddressDep, typed: Typed) -> HTMLResponse:
    """Make a join code and show it in this answer, the only time that it can be shown."""
    return _devices(
        services, lan_address, access.make_join_code(services, role=typed.get("role", ""))
    )


@router.post("/devices/{device_id}/revoke")
def revoke_device(services: ServicesDep, device_id: str) -> RedirectResponse:
    """Remove a device's access."""
    access.revoke(services, device_id=device_id)
    return go_to("/devices")


@router.get("/join", response_class=HTMLResponse)
@router.get("/join/{code}", response_class=HTMLResponse)
def show_join(code: str = "") -> HTMLResponse:
    """Show the form on which a device joins; opening it uses nothing up."""
    return _join(FormState({"code": code}))


@router.post("/join", response_class=HTMLResponse)
def join(request: Request, services: ServicesDep, attempts: AttemptsDep, typed: Typed) -> Response:
    """Let the device in, or say why not; failures make the next attempt wait."""
    address = request.client.host if request.client else ""
    wait_s = attempts.begin(address)
    if wait_s:
        message = f"too many wrong codes came from here: wait {_spoken(wait_s)}, then try again"
        response = _join(refused(typed, NotLetInError(message)), status=429)
        response.headers["retry-after"] = str(wait_s)
        return response
    before = session_token(request)
    try:
        session = access.join(services, code=typed.get("code", ""), name=typed.get("name", ""))
    except TallytareError as error:
        if isinstance(error, InvalidEntryError):
            attempts.succeeded(address)  # the name was wrong, no code was tried
        return _join(refused(typed, error))
    attempts.succeeded(address)
    if before and (device := access.device_of(services, before)):
        access.revoke(services, device_id=device.id)  # the same browser joined again
    answer = go_to("/")
    set_session(request, answer, session.token)
    return answer


@router.post("/leave")
def leave(request: Request, services: ServicesDep) -> RedirectResponse:
    """End the session of the device that asks."""
    visitor = current_visitor()
    if visitor.device_id:
        access.revoke(services, device_id=visitor.device_id)
    answer = go_to("/join")
    set_session(request, answer, "")
    return answer


def _devices(
    services: Services, lan_address: LanAddress, code: access.JoinCode | None = None
) -> HTMLResponse:
    joined = [(each, access.expired(services, each)) for each in access.list_devices(services)]
    link = lan_address.join_link(code.grouped) if code and lan_address.address else ""
    return page(
        "devices.html",
        here="devices",
        lan=lan_address,
        roles=ROLES,
        code=code,
        link=link,
        qr=qr_svg(link) if link else "",
        minutes=int(access.CODE_LIFE.total_seconds() // 60),
        days=access.SESSION_LIFE.days,
        inside=[each for each, old in joined if not (old or each.revoked)],
        outside=[each for each, old in joined if old or each.revoked],
    )


def _join(form: FormState, *, status: int | None = None) -> HTMLResponse:
    return page("join.html", status=status, form=form, days=access.SESSION_LIFE.days)


def _spoken(seconds: int) -> str:
    if seconds < 60:
        return f"{seconds} second{'' if seconds == 1 else 's'}"
    minutes = -(-seconds // 60)
    return f"{minutes} minute{'' if minutes == 1 else 's'}"
