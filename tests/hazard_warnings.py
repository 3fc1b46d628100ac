"""How often a bundle warns, asks and stops: `python -m tests.hazard_warnings [DATA]`.

Pictures of `../shared/data` are looked at as the service looks at them, with the first programme
and no fact known. Hazards are pictures whose form leads to stop categories alone; ordinary ones
show neither these nor electronics. Sources that the bundle learned from flatter it, so they stand
apart from those that it never saw. The draw hangs on the names of the files alone.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from classifier.examples.splits import unit_hash
from classifier.inference.bundle import Bundle, find_bundle, load_bundle
from classifier.inference.photo import PhotoLimits, decode_photo
from classifier.inference.predict import Predictor
from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import load_shipped_programmes
from classifier.rules.suggestion import suggest
from classifier.rules.suggestion_parts import Suggestion

DATA = Path(__file__).resolve().parents[2] / "shared" / "data"
PICTURES = 100
"""Pictures of each kind and sort of source, at most."""

# What the picture shows is no ordinary item, though its form is: the label says so.
_LEFT_OUT = frozenset({"medicine", "Battery", "Aluminium_blister_pack"})
_LIMITS = PhotoLimits(max_bytes=50_000_000, max_pixels=50_000_000)


@dataclass(frozen=True, slots=True)
class Picture:
    """A labelled picture: what it is to a sorter, and whether its source trained the bundle."""

    path: Path
    kind: str
    seen: bool


@dataclass(slots=True)
class Tally:
    """What was said of the pictures of one kind; all but `pictures` are parts of them."""

    pictures: int = 0
    stopped: int = 0
    asked: int = 0
    warned: int = 0
    cautioned: int = 0

    def add(self, found: Suggestion, categories: Categories) -> None:
        """Count one answer."""
        grave = {c.id for k in categories.categories if k.stop for c in categories.cautions_of(k)}
        self.pictures += 1
        self.stopped += found.decision == "stop"
        self.asked += found.question is not None and bool(categories.asked_by(found.question.fact))
        self.warned += bool({each.id for each in found.cautions} & grave)
        self.cautioned += bool(found.cautions)

    def in_hundred(self, part: int) -> float:
        """Return a part of the pictures in per cent; 0 without pictures."""
        return 100 * part / self.pictures if self.pictures else 0.0


def drawn(data: Path, bundle: Bundle, categories: Categories, most: int) -> list[Picture]:
    """Return at most `most` pictures of each kind and sort of source."""
    learned = {source.name for source in bundle.manifest.sources}
    cells: dict[tuple[str, bool], list[Picture]] = defaultdict(list)
    for row in _rows(data):
        kind = _kind(row, bundle, categories)
        if kind is not None:
            seen = row["source"] in learned
            cells[kind, seen].append(Picture(data / row["path"], kind, seen))
    return [
        picture
        for cell in sorted(cells)
        for picture in sorted(cells[cell], key=lambda each: unit_hash(each.path.name, 0))[:most]
    ]


def _rows(data: Path) -> Iterator[dict[str, str]]:
    with (data / "manifest.csv").open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)


def _kind(row: dict[str, str], bundle: Bundle, categories: Categories) -> str | None:
    leads = bundle.form_categories.get(row["form"])
    if not leads or row["detail"] in _LEFT_OUT:
        return None
    stops = [categories.get(each).stop for each in leads]
    if all(stops):
        return "hazard"
    return "electronic" if any(stops) else "ordinary"


def look_at(
    pictures: Iterable[Picture], bundle: Bundle, categories: Categories
) -> dict[tuple[str, bool], Tally]:
    """Return what the bundle leads to, by kind and by whether the source trained it."""
    programme = load_shipped_programmes(categories)[0]
    predictor = Predictor(bundle)
    tallies: dict[tuple[str, bool], Tally] = defaultdict(Tally)
    for picture in pictures:
        photo = decode_photo(picture.path.read_bytes(), _LIMITS)
        found = suggest(
            predictor.predict(photo).forms,
            bundle.form_categories,
            categories,
            programme,
            bundle.thresholds,
        )
        tallies[picture.kind, picture.seen].add(found, categories)
    return dict(tallies)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path, nargs="?", default=DATA)
    parser.add_argument("--bundle", default="household")
    parser.add_argument("--pictures", type=int, default=PICTURES)
    options = parser.parse_args()
    if not (options.data / "manifest.csv").is_file():
        parser.exit(1, f"{options.data} holds no manifest.csv: name the folder of the pictures\n")
    categories = load_categories()
    bundle = load_bundle(find_bundle(options.bundle))
    pictures = drawn(options.data, bundle, categories, options.pictures)
    say = sys.stdout.write
    say("Of 100 pictures:\n")
    say("kind        source      pictures  stopped  asked  warned of a hazard  any caution\n")
    for (kind, seen), tally in sorted(look_at(pictures, bundle, categories).items()):
        parts = (tally.stopped, tally.asked, tally.warned, tally.cautioned)
        stopped, asked, warned, cautioned = (f"{tally.in_hundred(each):.1f}" for each in parts)
        source = "learned" if seen else "never seen"
        say(
            f"{kind:<11} {source:<11} {tally.pictures:>8} {stopped:>8} {asked:>6} "
            f"{warned:>19} {cautioned:>12}\n"
        )


if __name__ == "__main__":
    main()
