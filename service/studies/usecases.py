"""The report of a study, or of any chosen sorts, from one reading of the log."""

from __future__ import annotations

from collections.abc import Sequence

from classifier.errors import UnknownIdError
from classifier.study.plan import StudyPlan
from classifier.study.report import Steps, StudyReport, build_study_report
from classifier.study.table import study_table
from service.services import Services


def study_report(
    services: Services, study_id: str, plan: StudyPlan, *, progress: Steps | None = None
) -> StudyReport:
    """Return the report of all sorts of a study.

    Raises UnknownIdError when there is no such study.
    """
    study = services.log.study(study_id.lower())
    ids = [sort.id for sort in services.log.sorts_of_study(study.id)]
    return report_of_sorts(services, ids, plan, name=study.name, progress=progress)


def report_of_sorts(
    services: Services,
    sort_ids: Sequence[str],
    plan: StudyPlan,
    *,
    name: str,
    progress: Steps | None = None,
) -> StudyReport:
    """Return the report of chosen sorts.

    Raises UnknownIdError when an id is that of no sort.
    """
    wanted = list(dict.fromkeys(each.lower() for each in sort_ids))
    totals = services.log.sort_totals(wanted)
    missing = set(wanted) - {sort.id for sort in totals.sorts}
    if missing:
        raise UnknownIdError(
            f"there is no sort {min(missing)!r}: choose from the list of sorts",
            sorts=sorted(missing),
        )
    return build_study_report(
        plan.title or name,
        study_table(totals, services.categories, services.programmes),
        plan,
        services.categories,
        services.programmes,
        national=services.national,
        progress=progress,
    )
