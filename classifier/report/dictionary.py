"""The data dictionary of the report's CSV file: every column and every measure with its unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the CSV file."""

    name: str
    type: Literal["string", "integer", "number", "date"]
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Measure:
    """One value of the column `measure`."""

    name: str
    unit: str
    meaning: str


DATA_DICTIONARY: tuple[Column, ...] = (
    Column("sort_id", "string", "", "Id of the sort"),
    Column("sort_name", "string", "", "Name of the sort"),
    Column("place", "string", "", "Where it was done"),
    Column("stratum", "string", "", "Stratum: sector, season or area, as entered"),
    Column("sorted_on", "date", "ISO 8601", "Day of the sort"),
    Column("days", "integer", "d", "Days over which the discards accumulated"),
    Column("persons", "integer", "1", "Persons whose discards these are"),
    Column("programme", "string", "", "Id of the programme whose rules gave the routes"),
    Column("programme_version", "string", "", "Version of the programme"),
    Column("categories_version", "string", "", "Version of the list of categories"),
    Column(
        "level",
        "string",
        "",
        "What the row is about: total, category, group, route, kind (recovered, special, "
        "discarded, undecided) or national (material of the national table)",
    ),
    Column("id", "string", "", "Id of the category, group, route, kind or material"),
    Column("name", "string", "", "Its name"),
    Column("group", "string", "", "Group of a category, kind of a route, else empty"),
    Column("measure", "string", "", "What was found: see the list of measures"),
    Column(
        "basis",
        "string",
        "",
        "What it rests on: counted; measured (weighed); bound (too light for the scale); "
        "split_by_counts (weight of a mixed pile divided by counts: estimated); estimated; "
        "published. Never add rows of different basis",
    ),
    Column("unit", "string", "", "Unit of value, low and high: 1, g, kg or lb"),
    Column("value", "number", "see unit", "The figure; empty where only bounds are known"),
    Column(
        "low",
        "number",
        "see unit",
        "Lower end: for measured figures the bound of scale resolution, no confidence interval; "
        "for estimated ones what the source says, an interval or the span of published values. "
        "Empty where there is none",
    ),
    Column("high", "number", "see unit", "Upper end, likewise"),
    Column("source", "string", "", "Where an estimated or published figure is from"),
)

MEASURES: tuple[Measure, ...] = (
    Measure("items", "1", "Entries confirmed and not voided"),
    Measure(
        "objects",
        "1",
        "Objects counted (an entry may stand for several), or by basis estimated: worked out from "
        "the weight of piles that were not counted",
    ),
    Measure("unweighed_objects", "1", "Objects of which nobody measured the weight"),
    Measure("net_weight", "g", "Net weight; by basis measured, split_by_counts or estimated"),
    Measure("weight_below_resolution", "g", "Piles too light for the scale: low 0, high the bound"),
    Measure("share_by_weight", "1", "Fraction of the measured total"),
    Measure(
        "share_with_light_piles",
        "1",
        "Fraction of all that was weighed, piles too light for the scale included: only its bounds "
        "are known",
    ),
    Measure("share_by_count", "1", "Fraction of all objects"),
    Measure(
        "mean_item_weight",
        "g",
        "Weight over count, of the piles named in the source that have both",
    ),
    Measure("per_person_week", "kg, lb", "Measured weight / persons / (days / 7)"),
    Measure("share_generated", "1", "Fraction of national generation (before recycling)"),
    Measure("share_landfilled", "1", "Fraction of what was landfilled nationally"),
)
