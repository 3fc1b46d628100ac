"""What each column and measure of a study's files means: data dictionary and table schemas."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from classifier.report.routes import KIND_NAMES


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
    Column(
        "place_number",
        "integer",
        "stands for the place, whose name stays behind: sorts with one number are of one place; "
        "empty where none was entered",
        needed=False,
    ),
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
ROUTE_COLUMNS = (
    Column("sort", "integer", "number of the sort, as in the table of sorts"),
    Column("category", "string", "id of the category"),
    Column("route", "string", "where it can go by the rules of the sort's programme: id"),
    Column("name", "string", "name of the route"),
    Column(
        "kind",
        "string",
        "what the route is; recovered is what counts for the recovery potential",
        allowed=tuple(KIND_NAMES),
    ),
    Column(
        "net_g",
        "number",
        "net mass in grams: of piles that go this way whole, measured; of piles whose objects go "
        "different ways, their part by counts; a pile that nobody counted goes the one way that "
        "the rules allow, if one",
    ),
    Column("split_g", "number", "how much of net_g was split by counts, which is an estimate"),
    Column("objects", "integer", "objects counted"),
)
MEASURE_COLUMNS = (
    Column("measure", "string", "as in the table of figures"),
    Column("unit", "string", "unit"),
    Column("meaning", "string", "what it is, with its formula and source"),
)
MEASURES: dict[str, tuple[str, str]] = {
    "net_weight": (
        "kg",
        "Net mass weighed in all sorts, also those that no estimate uses; low and high are bounds "
        "of the scales.",
    ),
    "sorts_not_weighed": (
        "1",
        "Sorts in which it was found and not, or not wholly, weighed: its mass is more than said.",
    ),
    "objects": ("1", "Objects counted in all sorts, also those that no estimate uses."),
    "sorts_with_it": (
        "1",
        "Sorts behind the estimates (households, where two containers are joined) in which it was "
        "found, by weight or count.",
    ),
    "share_mean": (
        "1",
        "Share by weight, mean of sample shares: p = sum(c_i / w_i) / n, each sort alike; Student "
        "t interval, Var = sum(c_i / w_i - p)^2 / (n (n - 1)), n - 1 degrees of freedom (ASTM "
        "D5231, code D). Strata: sum W_h p_h, variance sum W_h^2 Var(p_h), degrees of freedom "
        "after Satterthwaite 1946 (Cochran 1977, 5.3 and 5.4, code D).",
    ),
    "share_ratio": (
        "1",
        "Share by weight, ratio of sums: r = sum c_i / sum w_i, each sort by its mass; Student t "
        "interval, Var = sum(c_i - r w_i)^2 / (n (n - 1) wbar^2) (Cochran 1977, 2.11, code C, and "
        "6.3, code D; a published worked case was recomputed, code A). Strata as above.",
    ),
    "share_mean_bootstrap": (
        "1",
        "Mean of sample shares with the percentile interval of a bootstrap that draws whole sorts "
        "within their strata (Davison and Hinkley 1997, 3.2 and 5.3.1, code D).",
    ),
    "share_ratio_bootstrap": ("1", "Ratio of sums with the same bootstrap interval."),
    "share_mean_scale_bounds": (
        "1",
        "Mean of the sample shares of these very sorts, strata by their weights, with the bounds "
        "that the steps of the scales set: low_i / (low_i + high of the rest) and the reverse "
        "(OWN; a reading of step d lies within d/2, JCGM 100:2008 F.2.2.1, code D). Says nothing "
        "about other sorts.",
    ),
    "kg_per_person_week": (
        "kg",
        "Net mass per person and week: ratio of sums over person-weeks, persons x days / 7 "
        "(Cochran 1977, 2.11, code C). Strata by their persons, where the plan gives them.",
    ),
    "kg_per_person_day": ("kg", "The same per day."),
    "population_total": (
        "unit of the population",
        "Share times the population's total; variance T^2 Var(p) + p^2 Var(T) (Goodman 1960, code "
        "D).",
    ),
    "share_difference": (
        "1",
        "Difference of two shares with Welch's t interval (Welch 1947, code D); each for itself.",
    ),
    "p_permutation": (
        "1",
        "p-value of the studentised difference among divisions of the sorts at random; of this "
        "category by itself (Phipson and Smyth 2010; Janssen 1997; code D).",
    ),
    "p_adjusted": (
        "1",
        "The same, allowing for having looked at all of the level (Westfall and Young 1993, maxT, "
        "code D).",
    ),
    "contamination": (
        "1",
        "Not accepted material over all in the recycling container; ratio of sums (a published "
        "method, recomputed, code A). This and the three rates below with strata: the combined "
        "ratio sum W_h x_h / sum W_h y_h of the strata's shares of all they discard (Cochran 1977, "
        "6.11, code D).",
    ),
    "capture": (
        "1",
        "Accepted material in the recycling container over all of it in both containers "
        "(Marshall and Morrigan 2018, code B).",
    ),
    "gross_diversion": ("1", "All in the recycling container over both containers."),
    "net_diversion": ("1", "Accepted material in the recycling container over both containers."),
    "recovery_potential": (
        "1",
        "Share of the weight whose route under the programme is a recovery, by the estimator and "
        "the weights of the plan.",
    ),
    "recovery_potential_what_if": (
        "1",
        "The same if the programme also took the categories that the plan names.",
    ),
    "recovery_potential_change": ("1", "The second less the first, with its own interval."),
    "photographed_items_corrected": (
        "1",
        "Photographed items that truly are of the category, post-stratified by what the network "
        "called them, Wilson interval (Olofsson et al. 2014, code A; Cochran 1977, 5A.9, code "
        "D).",
    ),
    "photographed_share_corrected": ("1", "The same as a share of the photographed items."),
    "photographed_items_as_called": (
        "1",
        "Photographed items by what the network by itself called them; no estimate of anything.",
    ),
    "logratio_centre": (
        "1",
        "Aitchison centre: closed geometric means after multiplicative replacement of zeros "
        "(Aitchison 1986; Martin-Fernandez et al. 2003; code D; the arithmetic checked against "
        "published vectors, code A). Not a mean share.",
    ),
    "logratio_clr_sd": ("1", "Standard deviation of the centred log-ratio."),
    "share_of_generated": ("1", "Published share of what a nation generates, before recovery."),
    "share_of_landfilled": ("1", "Published share of what a nation landfills."),
}
"""Unit and meaning of every measure."""
CODES = (
    "A: seen in a stored copy and recomputed with the same answer. B: seen, not recomputed. C: "
    "from memory, and passes an arithmetic check. D: from memory: look it up before citing. OWN: "
    "our own derivation, not published."
)
"""What the confidence codes beside sources mean."""


def schema(columns: tuple[Column, ...], key: list[str] | None = None) -> dict[str, Any]:
    """Return the Table Schema of a table."""
    found: dict[str, Any] = {
        "fields": [column.field() for column in columns],
        "missingValues": [""],
    }
    return {**found, "primaryKey": key} if key else found
