"""A small list of categories and a small programme, so that report tests don't hang on data files.

PET bottles go to kerbside or, with a deposit mark, to deposit return; film is residual; batteries
need special collection; textiles may go for reuse (clean) or residual.
"""

from __future__ import annotations

from datetime import date

from classifier.rules.category_parts import Categories, Category, Caution, Group
from classifier.rules.programme import Programme
from classifier.rules.programme_rules import CategoryRules, Rule


def _category(category_id: str, group: str, name: str, *, stop: bool = False) -> Category:
    return Category(
        id=category_id,
        group=group,
        name=name,
        belongs=("an example",),
        not_here=(),
        look_alikes=(),
        cautions=("fire",) if stop else (),
        stop=stop,
        evidence={},
        words=(),
    )


def small_categories() -> Categories:
    return Categories(
        version="list-1",
        groups=(
            Group("plastics", "Plastics"),
            Group("organics", "Organics"),
            Group("textiles", "Textiles"),
            Group("special", "Special"),
        ),
        categories=(
            _category("pet_bottles", "plastics", "PET bottles and jars"),
            _category("plastic_film", "plastics", "Film"),
            _category("food", "organics", "Food"),
            _category("textiles", "textiles", "Textiles"),
            _category("batteries", "special", "Batteries", stop=True),
        ),
        facts=(),
        cautions=(Caution("fire", "Fire risk."),),
    )


def small_programme(
    *, version: str = "2026-1", valid_from: date = date(2026, 1, 1), valid_to: date | None = None
) -> Programme:
    rules = (
        Rule("pet_bottles", {"deposit_mark": "no"}, "kerbside", "", "", 1),
        Rule("pet_bottles", {"deposit_mark": "yes"}, "deposit_return", "", "", 2),
        Rule("plastic_film", {}, "residual", "", "", 3),
        Rule("food", {}, "organics", "", "", 4),
        Rule("textiles", {"clean": "yes"}, "reuse", "", "", 5),
        Rule("textiles", {"clean": "no"}, "residual", "", "", 6),
        Rule("batteries", {}, "special_collection", "", "", 7),
    )
    answers = {"pet_bottles": {"deposit_mark": ("yes", "no")}, "textiles": {"clean": ("yes", "no")}}
    return Programme(
        id="small",
        name="Small Town",
        area="Small Town",
        version=version,
        valid_from=valid_from,
        valid_to=valid_to,
        source="invented",
        rules=rules,
        _by_category={
            category: CategoryRules(
                tuple(rule for rule in rules if rule.category == category),
                answers.get(category, {}),
            )
            for category in {rule.category for rule in rules}
        },
    )
