"""The only wiring of the web: settings in, an application out; nothing is built at import."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import PackageNotFoundError, version

from anyio import CapacityLimiter, to_thread
from fastapi import FastAPI

from service import routes
from service.examples.reviews import forget_withdrawn_thumbs
from service.examples.upload import forget_old_uploads
from service.services import Services
from service.settings import Settings
from service.web.attempts import Attempts
from service.web.description import describe
from service.web.error_pages import html_error
from service.web.errors import install_error_handlers
from service.web.gate import Gate
from service.web.lan_address import LanAddress
from service.wiring import build_services


def create_app(
    settings: Settings, *, services: Services | None = None, lan_address: LanAddress | None = None
) -> FastAPI:
    """Build the application; `services` replaces the real ones in tests.

    `lan_address` is where other devices come in, None while there is no way.

    Raises StorageError or DataFileError when store, categories or programmes can't be used. A
    missing or damaged model is no reason not to start: photos are then labelled by hand.
    """
    used = build_services(settings) if services is None else services

    @asynccontextmanager
    async def lifetime(_app: FastAPI) -> AsyncIterator[None]:
        """Delete at the start the private pictures that nobody needs any more; close at the end."""
        await to_thread.run_sync(forget_old_uploads, used.settings.data_dir)
        await to_thread.run_sync(forget_withdrawn_thumbs, used)
        yield
        used.close()

    app = FastAPI(
        title="tallytare",
        version=_version(),
        lifespan=lifetime,
        docs_url=None,  # FastAPI's pages load their scripts from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    app.state.services = used
    app.state.lan_address = lan_address or LanAddress()
    app.state.attempts = Attempts()
    # One more than can be looked at, so that the next is ready.
    app.state.photo_threads = CapacityLimiter(settings.inference_concurrency + 1)
    app.add_middleware(Gate, settings=settings)
    install_error_handlers(app, html_error)
    describe(app)
    app.include_router(routes.api)
    app.include_router(routes.pages)
    app.mount("/static", routes.static_files(), name="static")
    return app


def _version() -> str:
    try:
        return version("tallytare")
    except PackageNotFoundError:
        return "0"
