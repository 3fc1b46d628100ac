"""What each column and measure of a study's files means: data dictionary and table schemas."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: a type of the Table Schema, and what it holds."""

    name: str
    type: str
    meaning: str
    needed: bool = True
    allowed: tuple[str, ...] = ()

    def field(self) -> dict[str, Any]:
        """Return the column as a field of a Table Schema."""
        constraints: dict[str, Any] = {"required": True} if self.needed else {}
        if self.allowed:
            constraints["enum"] = list(self.allowed)
        found: dict[str, Any] = {
            "name": self.name,
            "type": self.type,
            "description": self.meaning,
        }
        return {**found, "constraints": constraints} if constraints else found


BASES = ("measured", "counted", "estimated", "estimated_with_split", "published")
FIGURE_COLUMNS = (
    Column("study", "string", "name of the study"),
    Column("stratum", "string", "part of the study, or the two sides of a difference"),
    Column("level", "string", "category, group, route, kind, material, rate or total"),
    Column("id", "string", "of the category, group, ..."),
    Column("name", "string", "its name"),
    Column("measure", "string", "what the figure is; see the table of measures"),
    Column(
        "basis",
        "string",
        "what it rests on: measured and counted in these sorts, estimated from them "
        "(estimated_with_split: part of the weight was split among routes by counts), published by "
        "others; never add figures of different bases",
        allowed=BASES,
    ),
    Column("unit", "string", "unit of value, low and high; 1 is a fraction or a count"),
    Column("value", "number", "the figure"),
    Column("low", "number", "lower end, empty for none; may be below 0", needed=False),
    Column("high", "number", "upper end, empty for none", needed=False),
    Column(
        "interval",
        "string",
        "confidence: interval at the confidence level; scale: bounds that the steps of the scales "
        "set for certain; empty for none",
        needed=False,
        allowed=("confidence", "scale"),
    ),
    Column("confidence", "number", "confidence level of the interval, 0 to 1", needed=False),
    Column("n", "integer", "sorts, households or items behind it", needed=False),
    Column("method", "string", "estimator and interval", needed=False),
    Column("assumptions", "string", "what must hold, separated by semicolons", needed=False),
    Column("source", "string", "where a published figure is from", needed=False),
)
SORT_COLUMNS = (
    Column("sort", "integer", "number of the sort in this package"),
    Column("stratum", "string", "part of the study that it belongs to", needed=False),
    Column("sorted_on", "date", "day of sorting"),
    Column("days", "integer", "days of accumulation"),
    Column("persons", "integer", "persons whose discards these are"),
    Column("programme", "string", "programme in force"),
)
MASS_COLUMNS = (
    Column("sort", "integer", "number of the sort, as in the table of sorts"),
    Column("category", "string", "id of the category"),
    Column("name", "string", "its name"),
    Column("net_g", "number", "measured net mass in grams, without piles below resolution"),
    Column("low_g", "number", "lower bound by the steps of the scales"),
    Column("high_g", "number", "upper bound, piles below resolution included"),
    Column("objects", "integer", "objects counted"),
    Column("unweighed", "boolean", "whether some or all of it was not weighed"),
)
MEASURE_COLUMNS = (
    Column("measure", "string", "as in the table of figures"),
    Column("unit", "string", "unit"),
    Column("meaning", "string", "what it is, with its formula and source"),
)
MEASURES: dict[str, tuple[str, str]] = {
    "net_weight": ("kg", "Net mass weighed in all sorts; low and high are bounds of the scales."),
    "objects": ("1", "Objects counted in all sorts."),
    "sorts_with_it": ("1", "Sorts in which it was found, by weight or count."),
    "share_mean": (
        "1",
        "Share by weight, mean of sample shares: p = sum(c_i / w_i) / n, each sort alike; Student "
        "t interval with n - 1 degrees of freedom (ASTM D5231). Strata: sum W_h p_h, degrees of "
        "freedom after Satterthwaite (Cochran 1977, 5.3).",
    ),
    "share_ratio": (
        "1",
        "Share by weight, ratio of sums: r = sum c_i / sum w_i, each sort by its mass; Student t "
        "interval (Cochran 1977, 2.11 and 6.3).",
    ),
    "share_mean_bootstrap": (
        "1",
        "Mean of sample shares with the percentile interval of a bootstrap that draws whole sorts "
        "within their strata (Davison and Hinkley 1997, 3.2 and 5.3.1).",
    ),
    "share_ratio_bootstrap": ("1", "Ratio of sums with the same bootstrap interval."),
    "share_mean_scale_bounds": (
        "1",
        "Mean of the sample shares of these very sorts, with the bounds that the steps of the "
        "scales set; says nothing about other sorts.",
    ),
    "kg_per_person_week": (
        "kg",
        "Net mass per person and week: ratio of sums over person-weeks (Cochran 1977, 2.11).",
    ),
    "kg_per_person_day": ("kg", "The same per day."),
    "population_total": (
        "unit of the population",
        "Share times the population's total; variance T^2 Var(p) + p^2 Var(T) (Goodman 1960).",
    ),
    "share_difference": (
        "1",
        "Difference of two shares with Welch's t interval (Welch 1947); each for itself.",
    ),
    "p_permutation": (
        "1",
        "p-value of the studentised difference among divisions of the sorts at random; of this "
        "category by itself (Phipson and Smyth 2010; Janssen 1997).",
    ),
    "p_adjusted": (
        "1",
        "The same, allowing for having looked at all of the level (Westfall and Young 1993, maxT).",
    ),
    "contamination": ("1", "Not accepted material over all in the recycling container."),
    "capture": (
        "1",
        "Accepted material in the recycling container over all of it in both containers "
        "(Marshall and Morrigan 2018).",
    ),
    "gross_diversion": ("1", "All in the recycling container over both containers."),
    "net_diversion": ("1", "Accepted material in the recycling container over both containers."),
    "recovery_potential": (
        "1",
        "Share of the weight whose route under the programme is a recovery; ratio of sums.",
    ),
    "recovery_potential_what_if": (
        "1",
        "The same if the programme also took the categories that the plan names.",
    ),
    "recovery_potential_change": ("1", "The second less the first, with its own interval."),
    "photographed_items_corrected": (
        "1",
        "Photographed items that truly are of the category, post-stratified by what the network "
        "called them, Wilson interval (Olofsson et al. 2014; Cochran 1977, 5A.9).",
    ),
    "photographed_share_corrected": ("1", "The same as a share of the photographed items."),
    "photographed_items_as_called": (
        "1",
        "Photographed items by what the network by itself called them; no estimate of anything.",
    ),
    "logratio_centre": (
        "1",
        "Aitchison centre: closed geometric means after multiplicative replacement of zeros "
        "(Aitchison 1986; Martin-Fernandez et al. 2003). Not a mean share.",
    ),
    "logratio_clr_sd": ("1", "Standard deviation of the centred log-ratio."),
    "share_of_generated": ("1", "Published share of what a nation generates, before recovery."),
    "share_of_landfilled": ("1", "Published share of what a nation landfills."),
}
"""Unit and meaning of every measure."""


def schema(columns: tuple[Column, ...], key: list[str] | None = None) -> dict[str, Any]:
    """Return the Table Schema of a table."""
    found: dict[str, Any] = {
        "fields": [column.field() for column in columns],
        "missingValues": [""],
    }
    return {**found, "primaryKey": key} if key else found
