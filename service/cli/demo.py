"""`tallytare demo`: a whole sort through the same steps as in the browser.

Every id is derived from the demo's content: running it again finds what it recorded and changes
nothing, and an interrupted run is finished by the next one.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import typer

from classifier.errors import BundleError, UnknownIdError
from classifier.log.records import SortInfo
from service.cli.demo_data import Answer, Demo, load_demo
from service.cli.demo_study import demo_study_page
from service.cli.opened import demo_settings
from service.cli.progress import progress
from service.cli.serve import run_server
from service.cli.settings import Bundle, Host, Open, Port, read_settings
from service.learning.usecases import set_learning
from service.piles.usecases import add_tare, weigh
from service.reports.usecases import report
from service.services import Services
from service.sorting.captures import CaptureView, take_photo
from service.sorting.items import confirm, correct
from service.sorts.usecases import create_sort
from service.wiring import build_services

app = typer.Typer()

_NAMESPACE = uuid.UUID("5b0c4f3e-7f0a-4a57-9d1c-3f2f7f6a0c11")
PROGRAMME = "alder_valley"
SORTERS = ("Ada", "Ben")
TARES = (
    ("Grey bucket", "340", "g", "1"),
    ("Thin bag", "12", "g", "1"),
    ("Crate", "0.82", "kg", "0.01"),
)


@app.command("demo")
def demo_command(
    serve: Annotated[
        bool, typer.Option("--serve/--no-serve", help="Then serve the demo's pages.")
    ] = True,
    host: Host = "",
    port: Port = None,
    open_browser: Open = True,
    bundle: Bundle = "",
    study: Annotated[
        bool, typer.Option("--study", help="Instead, record an invented study of 60 households.")
    ] = False,
) -> None:
    """Record a whole demo sort with the demo pictures, then serve it in the browser.

    It lives in a store of its own, in the folder "demo" of the data folder.
    """
    settings = demo_settings(read_settings(host=host, port=port, bundle=bundle))
    services = build_services(settings)
    try:
        if study:
            page = demo_study_page(services)
        else:
            page = f"/sorts/{make_demo_sort(services).id}/report"
        if serve:
            run_server(settings, services=services, path=page, open_browser=open_browser)
    finally:
        services.close()


def make_demo_sort(services: Services) -> SortInfo:
    """Record the demo sort and return it; says each step on standard output.

    Raises BundleError without a model and DemoMissingError without the pictures.
    """
    if services.predictor is None:
        raise BundleError(services.model_problem)
    demo = load_demo()
    sort = _sort(services, demo)
    if not sort.closed:
        steps = _Steps(services, sort, demo)
        # Off while recording: the figure below is the model's own, and each run says the same.
        steps.learn(on=False)
        right = sum(progress(steps.photos(), total=len(demo.answers), unit="photo"))
        steps.weighings()
        steps.learn(on=True)
        typer.echo(
            f"\nThe model's first answer was right for {right} of {len(demo.answers)} pictures. "
            "They are drawn as some that it learned from: on your photographs it is right less "
            "often."
        )
    _say_totals(services, sort)
    return sort


def _sort(services: Services, demo: Demo) -> SortInfo:
    sort_id = str(uuid.uuid5(_NAMESPACE, f"{demo.edition}/sort"))
    try:
        return services.log.get_sort(sort_id)
    except UnknownIdError:
        return create_sort(
            services,
            sort_id=sort_id,
            name="Demo: one week of a shared flat",
            place="Invented flat, Alder Valley",
            stratum="household",
            sorted_on=services.clock().astimezone().date(),  # as the page offers it
            days=7,
            persons=3,
            programme_id=PROGRAMME,
            sorters=SORTERS,
        )


@dataclass(frozen=True, slots=True)
class _Steps:
    services: Services
    sort: SortInfo
    demo: Demo

    def photos(self) -> Iterator[bool]:
        """Take and confirm every photo; give whether the model's first answer was right."""
        for number, answer in enumerate(self.demo.answers, start=1):
            capture = take_photo(
                self.services,
                sort_id=self.sort.id,
                capture_id=self._id("capture", answer.file),
                data=self.demo.pictures[answer.file],
            )
            recorded = self._confirmed(answer, capture)
            said = _said(capture)
            typer.echo(f"{number:3}  {answer.file:<30} model: {said:<38} recorded: {recorded}")
            yield _is_right(answer, capture)

    def learn(self, *, on: bool) -> None:
        """Switch learning in place on or off for the demo sort, unless somebody gave it a study."""
        if self.services.log.study_of_sort(self.sort.id) is not None:
            return
        set_learning(
            self.services,
            scope_id=self.sort.id,
            change_id=self._id("learning", "on" if on else "off"),
            learns=on,
            audit_percent=0,
        )

    def weighings(self) -> None:
        """Weigh the piles that have items, on several scales."""
        for name, value, unit, resolution in TARES:
            add_tare(
                self.services,
                tare_id=self._id("tare", name),
                name=name,
                weight=value,
                unit=unit,
                resolution=resolution,
            )
        counted = {answer.category for answer in self.demo.answers}
        for number, reading in enumerate(self.demo.readings):
            if reading.category in counted:
                weigh(
                    self.services,
                    sort_id=self.sort.id,
                    weighing_id=self._id("weighing", str(number)),
                    category=reading.category,
                    method=reading.method,
                    gross=reading.gross,
                    tare=reading.tare,
                    unit=reading.unit,
                    resolution=reading.resolution,
                    tare_resolution=reading.tare_resolution,
                    capacity=reading.capacity,
                    contents_left=reading.contents_left,
                    note=reading.note,
                    sorter=SORTERS[0],
                )

    def _confirmed(self, answer: Answer, capture: CaptureView) -> str:
        if not answer.category:
            return "nothing, it shows no item"
        item_id = self._id("item", answer.file)
        view = confirm(
            self.services,
            item_id=item_id,
            sort_id=self.sort.id,
            capture_id=capture.id,
            category=answer.first_tap or answer.category,
            count=answer.count,
            facts={} if answer.first_tap else answer.facts,
            note=answer.note,
            sorter=SORTERS[0],
        )
        if answer.first_tap:
            view = correct(
                self.services,
                item_id=item_id,
                change_id=self._id("change", answer.file),
                category=answer.category,
                count=answer.count,
                facts=answer.facts,
                reason="tapped the wrong one",
                sorter=SORTERS[1],
            )
        return f"{answer.count} x {view.current.category_name} -> {view.route.name}"

    def _id(self, kind: str, name: str) -> str:
        return str(uuid.uuid5(_NAMESPACE, f"{self.demo.edition}/{kind}/{name}"))


def _said(capture: CaptureView) -> str:
    suggestion = capture.suggestion
    if suggestion.decision == "not_an_item" or not suggestion.alternatives:
        return "not an item"
    top = suggestion.alternatives[0]
    unsure = ", not sure" if suggestion.decision == "unsure" else ""
    return f"{top.name[:24]} {top.p:.0%}{unsure}"


def _is_right(answer: Answer, capture: CaptureView) -> bool:
    suggestion = capture.suggestion
    if suggestion.decision == "not_an_item" or not suggestion.alternatives:
        return not answer.category
    return suggestion.alternatives[0].category == answer.category


def _say_totals(services: Services, sort: SortInfo) -> None:
    total = report(services, sort.id).total
    typer.echo(
        f"Sort {sort.name!r}: {total.count} objects in {total.items} records, "
        f"{total.mass.value_g / 1000:.2f} kg weighed."
    )
