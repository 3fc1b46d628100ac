"""Finds trouble in the examples: repeats, doubted labels, poor pictures, gaps, what to do next.

The result is kept in the data folder, because it takes a while; it can be made again at any time.
"""

from __future__ import annotations

import json
import os
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from classifier.errors import ConflictError, StorageError, TallytareError
from classifier.examples.balance import Balance, LabelCount, balance_of
from classifier.examples.doubts import find_doubts
from classifier.examples.head import held_out_probabilities
from classifier.examples.quality import measure
from classifier.examples.teach import next_to_label
from service.examples.groups import Seen, group_examples, seen_alike, two_labels
from service.services import Services
from service.store.example_rows import Example, Wanted
from service.synced import draft_of

NEXT = 100
"""How many pictures are named that would teach most."""
_STALE_S = 1800.0
Progress = Callable[[str, int, int], None]
"""Told what is being done, how much of it is done, and how much there is."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found out about one photo whose label was `label` at that time."""

    label: str
    group: str
    doubt: str | None = None
    """Label that others suggest instead."""
    p_given: float | None = None
    p_doubt: float | None = None
    two_labels: bool = False
    poor: tuple[str, ...] = ()
    teaches: int | None = None
    """Place in the list of what would teach most, from 1."""


@dataclass(frozen=True, slots=True)
class Survey:
    """What a look through all examples found."""

    made_at: str
    seconds: float
    photos: int
    judged: int
    note: str
    accuracy: float | None
    findings: Mapping[str, Finding]
    balance: Balance = field(default_factory=lambda: Balance(()))

    def doubted(self) -> list[str]:
        """Return the captures whose label is doubted, the most doubted first."""
        found = [(each, f) for each, f in self.findings.items() if f.doubt is not None]
        return [each for each, f in sorted(found, key=lambda pair: _strength(pair[1]))]

    def teaching(self) -> list[str]:
        """Return the captures that would teach most, the best first."""
        found = [(f.teaches, each) for each, f in self.findings.items() if f.teaches is not None]
        return [each for _, each in sorted(found)]

    def of_two_labels(self) -> list[str]:
        """Return the captures that look like another with a different label, by group."""
        found = [(f.group, each) for each, f in self.findings.items() if f.two_labels]
        return [each for _, each in sorted(found)]

    def poor(self) -> list[str]:
        """Return the captures that are blurred, dark, pale or tiny."""
        return [each for each, f in self.findings.items() if f.poor]

    def grouped(self) -> list[str]:
        """Return the captures that share an object with another one, group by group."""
        sizes = Counter(f.group for f in self.findings.values())
        found = [(f.group, each) for each, f in self.findings.items() if sizes[f.group] > 1]
        return [each for _, each in sorted(found)]


def survey(services: Services, *, progress: Progress | None = None) -> Survey:
    """Look through all examples, keep what was found and return it.

    Raises ConflictError while another look is going on, StorageError when the log can't be read or
    what was found can't be kept.
    """
    with _alone(services):
        tell = progress or _silent
        start = time.monotonic()
        at = services.clock()
        examples = services.log.examples(Wanted())
        seen = seen_alike(services, examples)
        tell("grouping", 0, 1)
        groups = group_examples(examples, seen)
        found: dict[str, dict[str, Any]] = {
            each.capture_id: {"label": each.label, "group": group}
            for each, group in zip(examples, groups, strict=True)
        }
        for each in two_labels(examples, seen):
            found[each]["two_labels"] = True
        accuracy, judged, note = _doubt(examples, seen, groups, found, tell)
        _poor(services, examples, found, tell)
        used = [row for row, each in enumerate(examples) if each.used]
        made = Survey(
            made_at=at.isoformat(),
            seconds=round(time.monotonic() - start, 2),
            photos=len(examples),
            judged=judged,
            note=note,
            accuracy=accuracy,
            findings={each: Finding(**values) for each, values in found.items()},
            balance=balance_of(
                [examples[row].label for row in used], [groups[row] for row in used]
            ),
        )
        _keep(_path(services), made)
        return made


def last_survey(services: Services) -> Survey | None:
    """Return what the last look through all examples found, None without one."""
    try:
        kept = json.loads(_path(services).read_text(encoding="utf-8"))
        findings = {
            each: Finding(**{**values, "poor": tuple(values["poor"])})
            for each, values in kept.pop("findings").items()
        }
        labels = tuple(LabelCount(**each) for each in kept.pop("balance")["labels"])
        return Survey(findings=findings, balance=Balance(labels), **kept)
    except (OSError, ValueError, KeyError, TypeError):
        # Written by another version, or damaged: it can be made again.
        return None


def running_since(services: Services) -> datetime | None:
    """Return since when a look through all examples is going on, None if none is."""
    try:
        started = _lock(services).stat().st_mtime
    except OSError:
        return None
    return (
        None if time.time() - started > _STALE_S else datetime.fromtimestamp(started).astimezone()
    )


def still_true(finding: Finding, example: Example) -> bool:
    """Tell whether a doubt still stands: nobody has changed or reviewed the label since."""
    return finding.label == example.label and example.verdict is None


def _doubt(
    examples: Sequence[Example],
    seen: Seen,
    groups: Sequence[str],
    found: dict[str, dict[str, Any]],
    tell: Progress,
) -> tuple[float | None, int, str]:
    """Fill in doubts and what would teach most; return accuracy, number judged and a note."""
    positions = [place for place, row in enumerate(seen.rows) if examples[row].used]
    rows = [seen.rows[place] for place in positions]
    others = len(examples) - len(seen.rows)
    note = f"{others} photos have no embedding of the same model; none of them was judged. "
    note = note if others else ""
    labels, of = [examples[row].label for row in rows], [groups[row] for row in rows]
    embeddings = seen.embeddings[positions]
    try:
        held = held_out_probabilities(
            embeddings,
            labels,
            of,
            progress=lambda done, total: tell("judging labels", done, total),
        )
    except ValueError as error:
        return None, 0, f"{note}No label could be judged: {error}."
    number = {name: i for i, name in enumerate(held.names)}
    given = np.array([number[label] for label in labels])
    for doubt in find_doubts(given, held.p, judged=held.judged):
        found[examples[rows[doubt.row]].capture_id].update(
            doubt=held.names[doubt.proposed],
            p_given=round(doubt.p_given, 4),
            p_doubt=round(doubt.p_proposed, 4),
        )
    waiting = [place for place, row in enumerate(rows) if examples[row].verdict is None]
    for rank, place in enumerate(next_to_label(held.p, embeddings, of, waiting, most=NEXT), 1):
        found[examples[rows[place]].capture_id]["teaches"] = rank
    unjudged = int((~held.judged).sum())
    if unjudged:
        note += f"{unjudged} photos are the only object of their label, so it can't be judged. "
    accuracy = float((held.p.argmax(axis=1) == given).mean())
    return round(accuracy, 4), int(held.judged.sum()), note.strip()


def _poor(
    services: Services,
    examples: Sequence[Example],
    found: dict[str, dict[str, Any]],
    tell: Progress,
) -> None:
    for done, each in enumerate(examples, 1):
        try:
            look = services.thumbs.look(each.photo_name)
        except TallytareError:
            found[each.capture_id]["poor"] = ("unreadable",)
            continue
        flags = measure(look.grey, look.short_side_px).flags
        found[each.capture_id]["poor"] = flags
        if done % 50 == 0 or done == len(examples):
            tell("looking at pictures", done, len(examples))


def _silent(what: str, done: int, total: int) -> None:
    del what, done, total


def _strength(finding: Finding) -> float:
    return (finding.p_given or 0.0) - (finding.p_doubt or 0.0)


def _path(services: Services) -> Path:
    return services.settings.data_dir / "examples" / "survey.json"


def _lock(services: Services) -> Path:
    return services.settings.data_dir / "examples" / "survey.running"


@contextmanager
def _alone(services: Services) -> Iterator[None]:
    lock = _lock(services)
    try:
        lock.parent.mkdir(parents=True, exist_ok=True)
        if running_since(services) is None:
            lock.unlink(missing_ok=True)
        os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except FileExistsError:
        raise ConflictError(
            "the examples are being looked through already: wait until that is done, then reload"
        ) from None
    except OSError as error:
        raise _not_kept(lock.parent, error) from error
    try:
        yield
    finally:
        with suppress(OSError):  # it counts for half an hour only
            lock.unlink(missing_ok=True)


def _keep(path: Path, made: Survey) -> None:
    try:
        with draft_of(path) as draft:
            draft.write_text(json.dumps(asdict(made)), encoding="utf-8")
    except OSError as error:
        raise _not_kept(path.parent, error) from error


def _not_kept(folder: Path, error: OSError) -> StorageError:
    return StorageError(
        f"what is found out about the examples can't be kept in {folder} "
        f"({error.strerror or error}): free some space or give the right to write there, then look "
        "again",
        folder=str(folder),
    )
