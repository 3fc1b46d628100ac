"""A list of five categories and a programme as TOML text, small enough to work out by hand.

steel: kerbside. alu: deposit return with the mark, else kerbside. tub: kerbside with number 1, else
residual. film: residual. cell (stop): special collection. `magnetic` and `number` tell materials
apart, `deposit` doesn't.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme, load_programme
from classifier.rules.programme_rules import Rule

CATEGORIES = """\
version = "9"
[[group]]
id = "things"
name = "Things"
[[caution]]
id = "fire"
text = "Stop. It can burn."
[[caution]]
id = "edges"
text = "Sharp edges."
[[fact]]
id = "number"
name = "Number"
question = "Which number?"
how = "Look below."
tells_material = true
answer = [{ id = "1", label = "1" }, { id = "2", label = "2" }, { id = "none", label = "none" }]
[[fact]]
id = "deposit"
name = "Deposit"
question = "Deposit?"
how = "Look at the side."
answer = [{ id = "yes", label = "Yes" }, { id = "no", label = "No" }]
[[fact]]
id = "magnetic"
name = "Magnet"
question = "Does a magnet stick?"
how = "Hold it there."
tells_material = true
answer = [{ id = "yes", label = "Yes" }, { id = "no", label = "No" }]
[[category]]
id = "steel"
group = "things"
name = "Steel cans"
belongs = ["Food tins"]
cautions = ["edges"]
evidence = { magnetic = ["yes"], number = ["none"] }
[[category.look_alike]]
category = "alu"
tell = "A magnet sticks to steel."
[[category]]
id = "alu"
group = "things"
name = "Aluminium cans"
belongs = ["Drink cans"]
evidence = { magnetic = ["no"], number = ["none"] }
[[category]]
id = "tub"
group = "things"
name = "Tubs"
belongs = ["Pots"]
evidence = { magnetic = ["no"], deposit = ["no"] }
[[category]]
id = "film"
group = "things"
name = "Film"
belongs = ["Bags"]
evidence = { magnetic = ["no"] }
[[category]]
id = "cell"
group = "things"
name = "Batteries"
belongs = ["Cells"]
cautions = ["fire"]
stop = true
"""

HEAD = """\
id = "small"
name = "Small Town"
area = "Small"
version = "1"
valid_from = 2026-03-01
source = "invented for the tests"
"""

RULES = """\
[[rule]]
category = "steel"
route = "kerbside"
condition = "Empty"
[[rule]]
category = "alu"
route = "kerbside"
condition = "Rinsed"
[[rule]]
category = "alu"
when = { deposit = "yes" }
route = "deposit_return"
note = "At the shop."
[[rule]]
category = "tub"
route = "residual"
note = "Only number 1 is taken."
[[rule]]
category = "tub"
when = { number = "1" }
route = "kerbside"
condition = "Washed"
[[rule]]
category = "film"
route = "residual"
[[rule]]
category = "cell"
route = "special_collection"
"""


def small_categories(directory: Path, text: str = CATEGORIES) -> Categories:
    path = directory / "list.toml"
    path.write_text(text, encoding="utf-8")
    return load_categories(path)


def small_programme(
    directory: Path, categories: Categories, text: str = HEAD + RULES, name: str = "small.toml"
) -> Programme:
    path = directory / name
    path.write_text(text, encoding="utf-8")
    return load_programme(path, categories)


def rule_for(programme: Programme, category: str, facts: Mapping[str, str]) -> Rule | None:
    """Return the one rule that applies, or None while it still hangs on an open fact."""
    possible = programme.routes_for(category, facts)
    return possible[0] if len(possible) == 1 else None
