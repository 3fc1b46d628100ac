"""Arguments of `tallytare sheet`; what does the work is imported when a command is called."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from service.settings import Settings


class Paper(StrEnum):
    """Sizes of paper that the blank sheet is laid out for."""

    A4 = "a4"
    LETTER = "letter"


class Decimal(StrEnum):
    """The decimal mark of the numbers in a file."""

    COMMA = "comma"
    POINT = "point"


Output = Annotated[
    Path | None, typer.Option("--output", "-o", metavar="FILE", help="File to write to.")
]


def sheet_app(settings: Callable[[], Settings]) -> typer.Typer:
    """Return the commands; `settings` reads those of the environment."""
    app = typer.Typer(
        help="Paper first: print a field sheet, fill it at the table, import it later.",
        no_args_is_help=True,
    )

    @app.command("print")
    def print_command(
        programme: Annotated[
            str, typer.Option(metavar="ID", help="Programme whose routes stand at the piles.")
        ] = "",
        sort: Annotated[
            str, typer.Option(metavar="SORT", help="Sort whose head is filled in.")
        ] = "",
        paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.A4,
        output: Output = None,
    ) -> None:
        """Write a blank field sheet as a page; open it in a browser and print it."""
        from service.cli.sheet import write_blank

        write_blank(settings(), programme=programme, sort=sort, paper=paper.value, output=output)

    @app.command("template")
    def template_command(output: Output = None) -> None:
        """Write the empty sheet as CSV, to be filled in a spreadsheet."""
        from service.cli.sheet import write_template

        write_template(settings(), output)

    @app.command("import")
    def import_command(
        file: Annotated[Path, typer.Argument(help="The filled sheet, CSV.", show_default=False)],
        sort: Annotated[
            str, typer.Option(metavar="SORT", help="Name or id of the sort.", show_default=False)
        ],
        sheet: Annotated[
            str, typer.Option(metavar="NUMBER", help="Tells several sheets of one sort apart.")
        ] = "1",
        unit: Annotated[
            str, typer.Option(metavar="UNIT", help="Unit of lines that name none: kg, g, lb, oz.")
        ] = "",
        resolution: Annotated[
            str, typer.Option(metavar="STEP", help="Scale's step for lines that name none.")
        ] = "",
        decimal: Annotated[
            Decimal | None, typer.Option(help="Decimal mark; left out: as the file shows.")
        ] = None,
        sorter: Annotated[str, typer.Option(metavar="NAME", help="Who sorted.")] = "",
        accept_good: Annotated[
            bool, typer.Option("--accept-good", help="Record the good lines, leave out the others.")
        ] = False,
    ) -> None:
        """Record a filled field sheet; nothing unless all lines are good or --accept-good is given.

        Exit code 0: recorded, or there before; 1: some lines have problems; 2: wrong arguments.
        """
        from service.cli.sheet import How, run_import

        how = How(sheet, unit, resolution, decimal.value if decimal else "", sorter)
        clean = run_import(settings(), file, sort, how, accept_good=accept_good)
        raise typer.Exit(0 if clean else 1)

    return app
