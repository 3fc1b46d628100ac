"""`tallytare demo --study`: an invented study of 60 households in two seasons.

Each household's recycling and refuse containers of one week are sorted apart: 120 sorts, 30
households in spring and 30 others in autumn, half of them in flats. Everything is invented, from
one seed; running it again finds what it recorded and changes nothing.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import urlencode

import numpy as np
import typer

from classifier.log.records import SortInfo
from service.cli.progress import progress
from service.piles.usecases import weigh
from service.services import Services
from service.sorting.items import confirm
from service.sorts.studies import create_study, place_new_sort
from service.sorts.usecases import close_sort, create_sort
from service.store.rows import Study

_NAMESPACE = uuid.UUID("0f4a6f0e-5f0c-4f43-8a53-6a2f3d9c9b21")
_EDITION = "1"
SEED = 20260401
NAME = "Invented study: 60 households of Alder Valley, spring and autumn"
HOUSEHOLDS = 60
PROGRAMME = "alder_valley"
_SEASONS = (("spring", date(2026, 4, 13)), ("autumn", date(2026, 10, 5)))
PLAN = """\
# Plan of the invented study that `tallytare demo --study` records.
# The stratum of each sort reads "area / season / container".
parts = ["area", "season", "container"]
strata = ["area", "season"]
compare = "season"
what_if = ["plastic_film", "coated_paper"]
national = "generated"

[weights]               # tonnes a year from each area, half of them in each season
"flats / spring" = 2100
"flats / autumn" = 2100
"houses / spring" = 4200
"houses / autumn" = 4200

[person_weights]        # persons living there
"flats / spring" = 9000
"flats / autumn" = 9000
"houses / spring" = 16000
"houses / autumn" = 16000

[population]            # what the weighbridge counted, with its own uncertainty
total = 12600
standard_error = 250
unit = "t a year"

[streams]
part = "container"
recycling = ["recycling"]
refuse = ["refuse"]
pair = ["place", "season"]
accepted_routes = ["kerbside"]
"""


@dataclass(frozen=True, slots=True)
class _Kind:
    """A category: grams a person and week, how often a home has it, grams of one object.

    `right` is the part that goes into the recycling container; `facts` are given for each route it
    can take, with the part of the objects they hold for.
    """

    category: str
    grams: float
    spread: float
    found: float
    item_g: float
    right: float
    facts: tuple[tuple[float, Mapping[str, str]], ...] = ((1.0, {}),)


_KINDS = (
    _Kind("food", 1450, 0.45, 1.0, 95, 0.01),
    _Kind("garden", 500, 1.0, 0.45, 400, 0.01),
    _Kind("corrugated_cardboard", 210, 0.7, 0.9, 85, 0.75),
    _Kind("paperboard", 130, 0.5, 1.0, 22, 0.7),
    _Kind("mixed_printed_paper", 260, 0.7, 0.95, 24, 0.72),
    _Kind("cartons", 60, 0.7, 0.8, 30, 0.55),
    _Kind("coated_paper", 35, 0.7, 0.7, 12, 0.2),
    _Kind("tissue", 120, 0.5, 0.95, 6, 0.05),
    _Kind("pet_bottles", 85, 0.6, 0.95, 27, 0.7, ((0.6, {"deposit_mark": "no"}),
                                                  (0.4, {"deposit_mark": "yes"}))),
    _Kind("hdpe_bottles", 45, 0.6, 0.8, 48, 0.7),
    _Kind("rigid_plastics", 150, 0.5, 1.0, 18, 0.5, ((0.9, {"resin": "5"}), (0.1, {"resin": "6"}))),
    _Kind("plastic_film", 170, 0.45, 1.0, 7, 0.22, ((0.35, {"clean": "yes"}),
                                                   (0.65, {"clean": "no"}))),
    _Kind("aluminium_cans", 28, 0.8, 0.75, 14, 0.6, ((0.7, {"deposit_mark": "no"}),
                                                    (0.3, {"deposit_mark": "yes"}))),
    _Kind("steel_cans", 65, 0.7, 0.8, 52, 0.65),
    _Kind("glass_bottles_jars", 300, 0.9, 0.75, 230, 0.7, ((1.0, {"deposit_mark": "no"}),)),
    _Kind("textiles", 130, 1.1, 0.4, 170, 0.08, ((0.5, {"reusable": "yes"}),
                                                 (0.5, {"reusable": "no"}))),
    _Kind("nappies_hygiene", 260, 1.0, 0.3, 160, 0.02),
    _Kind("batteries", 6, 0.8, 0.12, 20, 0.15),
    _Kind("electronics", 45, 1.1, 0.1, 350, 0.2),
    _Kind("composite_residual", 330, 0.5, 1.0, 35, 0.08),
)  # fmt: skip
_PERSONS = {
    "flats": (0.40, 0.36, 0.14, 0.08, 0.02),
    "houses": (0.12, 0.32, 0.22, 0.25, 0.09),
}
_AUTUMN = {"garden": 1.7, "food": 1.12, "corrugated_cardboard": 1.15}
_FLATS = {"garden": 0.15, "glass_bottles_jars": 0.8}


@dataclass(frozen=True, slots=True)
class _Pile:
    kind: _Kind
    grams: int
    objects: int


def make_demo_study(services: Services) -> Study:
    """Record the invented study and return it; steps that are recorded already change nothing."""
    study = create_study(services, study_id=_id("study"), name=NAME)
    known = {sort.id for sort in services.log.sorts_of_study(study.id) if sort.closed}
    for _ in progress(_households(services, study, known), total=HOUSEHOLDS, unit="household"):
        pass
    return study


def demo_study_page(services: Services) -> str:
    """Record the study, write its plan beside the store and return the address of its report."""
    study = make_demo_study(services)
    plan = services.settings.data_dir / "study_plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    typer.echo(
        f"Study {study.name!r}: {HOUSEHOLDS} households, {2 * HOUSEHOLDS} sorts.\n"
        f"Its plan: {plan}\nTo report it: TALLYTARE_DATA_DIR={services.settings.data_dir} "
        f"tallytare study {study.id} --plan {plan} --out FOLDER"
    )
    return f"/studies/{study.id}/report?{urlencode({'plan': PLAN})}"


def _households(services: Services, study: Study, known: set[str]) -> Iterator[int]:
    generator = np.random.default_rng(SEED)
    for number in range(HOUSEHOLDS):
        area = "flats" if number % 2 else "houses"
        season, start = _SEASONS[number % 4 // 2]
        persons = int(generator.choice([1, 2, 3, 4, 5], p=_PERSONS[area]))
        care = float(np.clip(generator.normal(1.0, 0.18), 0.4, 1.3)) * (
            0.85 if area == "flats" else 1.0
        )
        drawn = _week(generator, area, season, persons, care)
        for container, piles in drawn.items():
            sort_id = _id(f"sort/{number}/{container}")
            if sort_id in known:
                continue
            sort = create_sort(
                services, sort_id=sort_id,
                name=f"Household {number + 1:02}, {container}",
                place=f"Household {number + 1:02}", stratum=f"{area} / {season} / {container}",
                sorted_on=start + timedelta(days=number % 5), days=7, persons=persons,
                programme_id=PROGRAMME, sorters=("Ada", "Ben"),
            )  # fmt: skip
            place_new_sort(services, sort, study.id)
            if not sort.closed:
                _record(services, sort, piles)
                close_sort(services, sort.id, event_id=_id(f"{sort.id}/close"))
        yield number


def _week(
    generator: np.random.Generator, area: str, season: str, persons: int, care: float
) -> dict[str, list[_Pile]]:
    """Draw what a household discards in a week, by container."""
    own = float(np.exp(generator.normal(-0.06, 0.35)))
    drawn: dict[str, list[_Pile]] = {"recycling": [], "refuse": []}
    for kind in _KINDS:
        there = generator.random() < kind.found
        times = float(np.exp(generator.normal(-(kind.spread**2) / 2, kind.spread)))
        grams = persons**0.8 * own * times * kind.grams / kind.found
        grams *= _AUTUMN.get(kind.category, 1.0) if season == "autumn" else 1.0
        grams *= _FLATS.get(kind.category, 1.0) if area == "flats" else 1.0
        right = float(np.clip(kind.right * care * np.exp(generator.normal(0, 0.25)), 0, 0.97))
        for container, part in (("recycling", right), ("refuse", 1 - right)):
            mass = round(grams * part)
            if there and mass >= 2:
                objects = max(1, round(mass / kind.item_g))
                drawn[container].append(_Pile(kind, mass, objects))
    return drawn


def _record(services: Services, sort: SortInfo, piles: list[_Pile]) -> None:
    for pile in piles:
        left = pile.objects
        for place, (part, facts) in enumerate(pile.kind.facts):
            last = place == len(pile.kind.facts) - 1
            count = left if last else min(left, round(part * pile.objects))
            left -= count
            if count:
                confirm(
                    services, item_id=_id(f"{sort.id}/{pile.kind.category}/{place}"),
                    sort_id=sort.id, category=pile.kind.category, count=count, facts=facts,
                    sorter="Ada",
                )  # fmt: skip
        light = pile.grams < 20
        resolution = "1" if light else "5" if pile.grams < 5000 else "20"
        step = int(resolution)
        reading = max(step, step * round(pile.grams / step))
        weigh(
            services, sort_id=sort.id, weighing_id=_id(f"{sort.id}/{pile.kind.category}/weighing"),
            category=pile.kind.category, method="container", gross=str(reading + 340),
            tare="340", unit="g", resolution=resolution, sorter="Ben",
        )  # fmt: skip


def _id(name: str) -> str:
    return str(uuid.uuid5(_NAMESPACE, f"{_EDITION}/{name}"))
