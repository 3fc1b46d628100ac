"""What the two pages of a study show: charts, sentences and tables, all out of its figures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from classifier.study.dictionary import MEASURES
from classifier.study.figures import WHOLE, Figure
from classifier.study.notes import units_of
from classifier.study.report import StudyReport
from classifier.study.shares import SHARE
from classifier.study.words import kept_within, main_shares
from service.web.charts import COUNT, Bar, Part, Row

_GAP = "\u00a0"
NOTHING = "\u2013"
_FEW = 0.001
_WIDEST = 8
"""Columns of figures beside the names: four shares with their intervals."""


@dataclass(frozen=True, slots=True)
class Head:
    """A column of figures: heading, measure, how to write it, and the part of the study."""

    title: str
    measure: str
    form: str
    stratum: str = WHOLE


@dataclass(frozen=True, slots=True)
class TableView:
    """A table to show: headings, and rows of a name with cells; the last says what is doubtful."""

    ident: str
    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...], str], ...]


def by_id(figures: Sequence[Figure]) -> dict[str, Figure]:
    """Return figures by what they are about."""
    return {each.about.id: each for each in figures}


def points(value: float) -> str:
    """Return a fraction in per cent, without the sign."""
    return f"{100 * value:.1f}"


def range_words(figure: Figure) -> str:
    """Return a share with its range, as a reader writes it."""
    ends = kept_within(figure)
    if ends is None:
        return f"{points(figure.value)}{_GAP}%"
    low, high = ("0" if end == 0 else "100" if end == 1 else points(end) for end in ends)
    return f"{points(figure.value)}{_GAP}% (likely {low} to {high}{_GAP}%)"


def weighed(kg: float) -> str:
    """Return a weight in kilograms: a decimal only where it says something."""
    return f"{whole(kg)}{_GAP}kg" if kg >= 10 else f"{kg:.1f}{_GAP}kg"


def in_sentence(name: str) -> str:
    """Return a name as it stands within a sentence: a word of capitals, as PET, keeps them."""
    return name if name[1:2].isupper() else name[:1].lower() + name[1:]


def _level(report: StudyReport) -> str:
    """Return the confidence level as it heads a column."""
    return f"{100 * report.plan.level:g}{_GAP}%"


def unit_word(report: StudyReport) -> str:
    """Return what the estimates count, as it heads a column."""
    return units_of(report.plan).capitalize()


def share_rows(report: StudyReport, level: str) -> list[Row]:
    """Return the shares of a level with their likely ranges, the largest first."""
    rows = []
    for each in main_shares(report, level):
        low, high = kept_within(each) or (None, None)
        part = Part(each.about.id if level == "route" else COUNT, each.value)
        rows.append(Row(each.about.name, (Bar((part,), range_words(each), low, high),)))
    return rows


def difference_sentences(report: StudyReport) -> list[str]:
    """Return one plain sentence for each comparison: what changed, or that nothing can be said."""
    labels = dict.fromkeys(f.stratum for f in report.figures if f.measure == "share_difference")
    said = []
    for label in labels:
        gaps = by_id(report.select("share_difference", level="group", stratum=label))
        chance = by_id(report.select("p_adjusted", level="group", stratum=label))
        limit = 1 - report.plan.level
        sure = [
            gaps[ident]
            for ident, p in chance.items()
            if p.value <= limit and abs(gaps[ident].value) > _FEW
        ]
        second, _, first = label.partition(" minus ")
        if not chance:
            said.append(
                f"{first} and {second} were set beside each other without a test of chance: the "
                "annex has every difference with its range."
            )
        elif not sure:
            said.append(
                f"Between {first} and {second} every difference is small enough to be chance among "
                "the lots sorted. That does not prove that nothing differs."
            )
        else:
            words = "; ".join(_more_or_less(each) for each in sure)
            said.append(f"In {second} compared with {first}: {words}.")
    return said


def _more_or_less(gap: Figure) -> str:
    """Return a difference as more or less of something, in points above 0."""
    ends = [] if gap.low is None or gap.high is None else [gap.low, gap.high]
    if gap.value < 0:
        ends = [-end for end in reversed(ends)]
    likely = f" (likely {points(max(ends[0], 0.0))} to {points(ends[1])})" if ends else ""
    which = "more" if gap.value > 0 else "less"
    return f"{in_sentence(gap.about.name)} {which} by {points(abs(gap.value))} points{likely}"


def _ranged(
    report: StudyReport, title: str, measure: str, form: str, stratum: str = WHOLE
) -> tuple[Head, Head]:
    """Return the columns of a measure and of its interval."""
    ends = "interval" if form == "share" else f"{form}_interval"
    return Head(title, measure, form, stratum), Head(_level(report), measure, ends, stratum)


def annex_tables(report: StudyReport) -> list[TableView]:
    """Return the tables of the annex that have anything in them."""
    share, boot = SHARE[report.plan.estimator], f"{SHARE[report.plan.estimator]}_bootstrap"
    shares = (
        Head("Mean of shares", "share_mean", "share"),
        Head(f"{_level(report)} t", "share_mean", "interval"),
        Head("Ratio of sums", "share_ratio", "share"),
        Head(f"{_level(report)} t", "share_ratio", "interval"),
        Head(f"{_level(report)} bootstrap", boot, "interval"),
        Head("Scale bounds of the mean", "share_mean_scale_bounds", "interval"),
        Head(f"In {units_of(report.plan)}", "sorts_with_it", "count"),
    )
    weights = (
        Head("Weighed, kg", "net_weight", "kg"),
        Head("Scale bounds", "net_weight", "kg_interval"),
        Head("Counted", "objects", "count"),
        Head("Not all weighed, sorts", "sorts_not_weighed", "count"),
    )
    rates = (
        *_ranged(report, "kg, person and week", "kg_per_person_week", "kg"),
        *_ranged(report, "kg, person and day", "kg_per_person_day", "kg"),
    )
    found = [
        _table(
            report, "measured", "Weighed and counted in these sorts", weights, "category", "total"
        ),
        _table(report, "by-category", "Shares of the weight by category", shares, "category"),
        _table(report, "by-group", "Shares of the weight by group", shares[:5], "group"),
        _table(report, "by-route", "Shares of the weight by route", shares[:4], "route"),
        _table(report, "by-kind", "What can be recovered", shares[:4], "kind"),
        _table(report, "person", "Per person", rates, "category", "total"),
        _population(report),
        *_strata(report, share),
        *_differences(report),
        _single(report),
        _audits(report),
        _logratios(report),
        _national(report, share),
    ]
    return [table for table in found if table is not None]


def methods(report: StudyReport) -> list[tuple[str, str]]:
    """Return the measures of this report with what each is, and its source."""
    measures = dict.fromkeys(each.measure for each in report.figures)
    return [(measure, MEASURES[measure][1]) for measure in measures]


def assumptions(report: StudyReport) -> list[str]:
    """Return what must hold for the figures, each once; cautions of single lines stand there."""
    found = dict.fromkeys(text for each in report.figures for text in each.assumptions)
    return [text for text in found if not _is_caution(text)]


def _is_caution(text: str) -> bool:
    return text.startswith(("few sorts", "weighed in none"))


def _table(
    report: StudyReport, ident: str, title: str, heads: Sequence[Head], *levels: str
) -> TableView | None:
    columns = [
        {
            each.about.id: each
            for lev in levels
            for each in report.select(head.measure, level=lev, stratum=head.stratum)
        }
        for head in heads
    ]
    kept = [place for place, column in enumerate(columns) if column]
    if not kept:
        return None
    heads = [heads[place] for place in kept]
    columns = [columns[place] for place in kept]
    every = {ident: each.about for column in columns for ident, each in column.items()}
    order = {ident: -each.value for ident, each in columns[0].items()}
    rows = []
    for about in sorted(every.values(), key=lambda about: order.get(about.id, math.inf)):
        own = [column.get(about.id) for column in columns]
        cells = tuple(_cell(each, head.form) for each, head in zip(own, heads, strict=True))
        rows.append((_name(about.name, own), cells, _caution(own)))
    return TableView(ident, title, tuple(head.title for head in heads), tuple(rows))


def _name(name: str, own: Sequence[Figure | None]) -> str:
    split = any(each is not None and each.basis == "estimated_with_split" for each in own)
    return f"{name} *" if split else name


def _caution(own: Sequence[Figure | None]) -> str:
    texts = dict.fromkeys(
        text for each in own if each is not None for text in each.assumptions if _is_caution(text)
    )
    return "; ".join(texts)


def _cell(figure: Figure | None, form: str) -> str:
    if figure is None:
        return NOTHING
    if form.endswith("interval"):
        if figure.low is None or figure.high is None:
            return NOTHING
        low, high = (_number(each, form) for each in (figure.low, figure.high))
        return f"{low} to {high}"
    return _number(figure.value, form)


def _number(value: float, form: str) -> str:
    if form.startswith("kg"):
        return _rounded(value, 3)
    if form.startswith("amount"):
        # Three digits that say something, also where the last is a zero.
        return whole(value) if abs(value) >= 100 else f"{value:#.3g}".rstrip(".")
    if form == "count":
        return whole(value)
    if form == "p":
        return f"{value:.3f}" if value >= _FEW else "under 0.001"
    if form == "number":
        return _rounded(value, 2)
    if form == "signed":
        return f"{round(100 * value, 2) + 0.0:+.2f}"
    return _rounded(100 * value, 2)


def whole(value: float) -> str:
    """Return a whole number with a gap between thousands."""
    return f"{value:,.0f}".replace(",", _GAP)


def _amount(value: float) -> str:
    """Return an amount as the plan gives it."""
    return f"{value:,.10g}".replace(",", _GAP)


def _rounded(value: float, decimals: int) -> str:
    """Return a number with so many decimals, 0.00 and never -0.00."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def _population(report: StudyReport) -> TableView | None:
    plan = report.plan.population
    if plan is None:
        return None
    heads = _ranged(report, f"Total, {plan.unit}", "population_total", "amount")
    total = f"{_amount(plan.total)} ± {_amount(plan.standard_error)} {plan.unit}"
    title = f"Scaled to {total} (standard error)"
    return _table(report, "population", title, heads, "category")


def _strata(report: StudyReport, share: str) -> list[TableView]:
    labels = dict.fromkeys(
        each.stratum for each in report.figures if each.measure == share and each.stratum != WHOLE
    )
    heads = [head for label in labels for head in _ranged(report, label, share, "share", label)]
    return [
        block
        for of in ("group", "category")
        for block in _blocks(_table(report, f"strata-{of}", f"By stratum, {of}", heads, of))
    ]


def _blocks(table: TableView | None) -> list[TableView]:
    """Return a table cut into tables of the same rows that each fit on a sheet of paper."""
    if table is None:
        return []
    starts = range(0, len(table.heads), _WIDEST)
    if len(starts) == 1:
        return [table]
    return [
        TableView(
            f"{table.ident}-{number}",
            f"{table.title} ({number} of {len(starts)})",
            table.heads[start : start + _WIDEST],
            tuple(
                (name, cells[start : start + _WIDEST], caution)
                for name, cells, caution in table.rows
            ),
        )
        for number, start in enumerate(starts, 1)
    ]


def _differences(report: StudyReport) -> list[TableView | None]:
    labels = dict.fromkeys(f.stratum for f in report.figures if f.measure == "share_difference")
    found = []
    for place, label in enumerate(labels):
        heads = (
            Head("Points", "share_difference", "signed", label),
            Head(_level(report), "share_difference", "interval", label),
            Head("p", "p_permutation", "p", label),
            Head("p, adjusted", "p_adjusted", "p", label),
        )
        for level in ("group", "category"):
            title = f"{label[:1].upper()}{label[1:]}, {level}"
            found.append(_table(report, f"difference-{place}-{level}", title, heads, level))
    return found


def _single(report: StudyReport) -> TableView | None:
    rows = []
    for measure, name in (
        ("contamination", "Contamination"),
        ("capture", "Capture"),
        ("gross_diversion", "Diversion, gross"),
        ("net_diversion", "Diversion, net"),
        ("recovery_potential", "Recovery potential"),
        ("recovery_potential_what_if", "Recovery potential, if more is accepted"),
        ("recovery_potential_change", "Change"),
    ):
        for each in report.select(measure):
            cells = (_cell(each, "share"), _cell(each, "interval"), str(each.n))
            rows.append((_name(name, [each]), cells, ""))
    heads = ("Per cent", _level(report), "n")
    return TableView("rates", "Rates", heads, tuple(rows)) if rows else None


def _audits(report: StudyReport) -> TableView | None:
    heads = (
        *_ranged(report, "Corrected", "photographed_items_corrected", "amount"),
        Head("As the network called them", "photographed_items_as_called", "count"),
    )
    return _table(report, "audits", "Photographed items, corrected by audits", heads, "category")


def _logratios(report: StudyReport) -> TableView | None:
    heads = (
        Head("Centre, per cent", "logratio_centre", "share"),
        Head("SD of the log-ratio", "logratio_clr_sd", "number"),
    )
    return _table(report, "logratios", "Log-ratio summary of groups", heads, "group")


def _national(report: StudyReport, share: str) -> TableView | None:
    if report.national is None:
        return None
    what = f"share_of_{report.plan.national}"
    stratum = f"US {report.national.data_year}"
    heads = (
        *_ranged(report, "This study", share, "share"),
        Head(f"{stratum}, {report.plan.national}", what, "share", stratum),
    )
    return _table(report, "national", f"Beside national figures: {report.plan.national}", heads,
                  "material")  # fmt: skip
