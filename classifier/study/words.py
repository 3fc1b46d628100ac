"""A study in plain words: for the terminal and for the page that anybody can read."""

from __future__ import annotations

from collections.abc import Iterator

from classifier.study.figures import Figure
from classifier.study.report import StudyReport
from classifier.study.shares import SHARE

_WIDE = 30


def percent(value: float) -> str:
    """Return a fraction in per cent with one decimal."""
    return f"{100 * value:.1f} %"


def between(figure: Figure) -> str:
    """Return the interval of a share in per cent, empty where there is none."""
    if figure.low is None or figure.high is None:
        return ""
    return f"{100 * figure.low:.1f} to {100 * figure.high:.1f} %"


def kept_within(figure: Figure) -> tuple[float, float] | None:
    """Return the ends of a share's interval from 0 to 1, as a lay reader needs them; None for none.

    The annex keeps them as they are: an end beyond says that there are too few sorts.
    """
    if figure.low is None or figure.high is None:
        return None
    return max(figure.low, 0.0), min(figure.high, 1.0)


def main_shares(report: StudyReport, level: str) -> tuple[Figure, ...]:
    """Return the shares by the plan's own estimator, the largest first."""
    found = report.select(SHARE[report.plan.estimator], level=level)
    return tuple(sorted(found, key=lambda each: -each.value))


def uncertainty(report: StudyReport) -> str:
    """Return what a public page says on uncertainty."""
    shares = main_shares(report, "category")
    if not shares:
        return "Too few lots were sorted and weighed to say anything about others."
    ranges = ((each, kept_within(each)) for each in shares)
    top, ends = next(((each, ends) for each, ends in ranges if ends), (shares[0], None))
    if ends is None:
        return (
            "All lots held the same shares, so that no range can be given in which those of others "
            "lie."
        )
    said = (
        f"These {report.sorts} lots stand for many more, so every share has a range. "
        f"{top.about.name}, for example: the best estimate is {percent(top.value)} of the weight, "
        f"and the true share likely lies between {percent(ends[0])} and {percent(ends[1])} (about "
        f"{100 * report.plan.level:g} in 100 such ranges hold the truth, fewer for rare things)."
    )
    return said.replace(" %", "\u00a0%")


def summary(report: StudyReport) -> str:
    """Return the report as lines for a terminal."""
    plan = report.plan
    lines = [
        report.name,
        f"{report.sorts} sorts, {report.kg:.1f} kg weighed, {report.objects} objects counted, "
        f"{report.first_day} to {report.last_day}.",
        "",
    ]
    if report.strata and len(report.strata) > 1:
        lines += _strata(report)
    lines += _shares(report, "group", "GROUP")
    lines += _shares(report, "category", "CATEGORY")
    lines += _shares(report, "kind", "WHERE IT CAN GO")
    lines += _single(report)
    lines += _differences(report)
    lines += ["", *(f"- {note}" for note in report.notes)]
    lines += [
        f"- Shares: {plan.estimator}, {100 * plan.level:g} % Student t intervals; the other "
        "estimator, the bootstrap and all else stand in the annex."
    ]
    lines += [f"- {text}" for text in coverage_texts(report)]
    return "\n".join(lines)


def coverage_texts(report: StudyReport) -> Iterator[str]:
    """Yield a sentence for each interval quoted that held the truth less often than it says."""
    names = {
        "always": "things found in nearly every sort",
        "often": "things found in half of the sorts or more",
        "rare": "things found in fewer than half of the sorts",
        "all": "all cases",
    }
    for row in report.coverage:
        short = [
            f"{value:.0f} % for {names[kind]}"
            for kind, value in row.coverage.items()
            if value < 100 * row.level - 1.5
        ]
        yield (
            f"{row.words}: in simulated studies with n = {row.n} its {100 * row.level:.0f} % "
            f"interval held the truth in {', '.join(short)}."
        )


def _strata(report: StudyReport) -> list[str]:
    lines = [f"{'STRATUM':<{_WIDE}}  {'SORTS':>5}  {'KG':>9}  {'WEIGHT':>7}"]
    for each in report.strata:
        weight = "-" if each.weight is None else percent(each.weight)
        lines.append(f"{_cut(each.label)}  {each.sorts:>5}  {each.kg:>9.1f}  {weight:>7}")
    return [*lines, ""]


def _shares(report: StudyReport, level: str, title: str) -> list[str]:
    figures = main_shares(report, level)
    if not figures:
        return []
    per_week = {f.about.id: f for f in report.select("kg_per_person_week", level=level)}
    head = f"{title:<{_WIDE}}  {'SHARE':>7}  {'LIKELY BETWEEN':>18}"
    head += f"  {'KG A PERSON AND WEEK':>21}" if per_week else ""
    lines = [head]
    for each in figures:
        mark = " *" if each.basis == "estimated_with_split" else ""
        line = f"{_cut(each.about.name)}  {percent(each.value):>7}  {between(each):>18}"
        rate = per_week.get(each.about.id)
        if rate is not None:
            line += f"  {rate.value:>21.3f}"
        lines.append(line + mark)
    if any(each.basis == "estimated_with_split" for each in figures):
        lines.append("* part of the weight was split among routes by counts")
    return [*lines, ""]


def _single(report: StudyReport) -> list[str]:
    lines = []
    for measure, words in (
        ("contamination", "Contamination"),
        ("capture", "Capture"),
        ("gross_diversion", "Diversion, gross"),
        ("net_diversion", "Diversion, net"),
        ("recovery_potential", "Recovery potential"),
        ("recovery_potential_what_if", "  if the programme took more"),
        ("recovery_potential_change", "  change"),
    ):
        for each in report.select(measure):
            lines.append(f"{words:<{_WIDE}}  {percent(each.value):>7}  {between(each):>18}")
    return lines


def _differences(report: StudyReport) -> list[str]:
    labels = dict.fromkeys(f.stratum for f in report.figures if f.measure == "share_difference")
    lines = []
    for label in labels:
        gaps = report.select("share_difference", level="group", stratum=label)
        p = {f.about.id: f.value for f in report.select("p_adjusted", level="group", stratum=label)}
        lines += ["", f"{label:<{_WIDE}}  {'POINTS':>7}  {'LIKELY BETWEEN':>18}  {'P':>6}"]
        for each in gaps:
            chance = f"{p[each.about.id]:>6.3f}" if each.about.id in p else ""
            lines.append(
                f"{_cut(each.about.name)}  {100 * each.value:>+7.1f}  {between(each):>18}  {chance}"
            )
    return lines


def _cut(text: str) -> str:
    short = text if len(text) <= _WIDE else text[: _WIDE - 3] + "..."
    return f"{short:<{_WIDE}}"
