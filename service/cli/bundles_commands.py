"""Arguments of `tallytare bundles`; what does the work is imported when a command is called."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

import typer

from service.settings import Settings

Who = Annotated[str, typer.Option("--sorter", metavar="NAME", help="Who decided it, for the log.")]


def bundles_app(settings: Callable[[], Settings]) -> typer.Typer:
    """Return the commands; `settings` reads those of the environment."""
    app = typer.Typer(
        help="Which model answers: list, promote, go back. A running service follows at once.",
        no_args_is_help=True,
    )

    @app.command("list")
    def list_command() -> None:
        """Say which bundle answers, which could and which did."""
        from service.cli.bundles import run_list

        run_list(settings())

    @app.command("promote")
    def promote_command(
        bundle: Annotated[
            str,
            typer.Argument(
                help="Name of a shipped or installed bundle, or the folder of one.",
                show_default=False,
            ),
        ],
        sorter: Who = "",
    ) -> None:
        """Check a bundle, copy it into the data folder and have it answer from the next photo on.

        Exit code 0: it answers; 1: it can't be used, and what answered before goes on.
        """
        from service.cli.bundles import run_promote

        run_promote(settings(), bundle, sorter)

    @app.command("rollback")
    def rollback_command(sorter: Who = "") -> None:
        """Have the bundle answer that did before the last promotion; again goes further back."""
        from service.cli.bundles import run_rollback

        run_rollback(settings(), sorter)

    return app
