"""The examples as a set to train on: a folder per label, a manifest, a datasheet, COCO's JSON."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from classifier.csv_text import safe_cell
from classifier.errors import InvalidEntryError, StorageError, UnknownIdError
from classifier.examples.splits import split_groups
from classifier.rules.category_parts import Categories
from service.examples.datasheet import SetFacts, datasheet
from service.examples.groups import group_examples, seen_alike
from service.examples.origin import read_origin
from service.examples.pseudonyms import Pseudonyms, load_pseudonyms
from service.examples.reviews import HistoryLine, history_lines
from service.photos.thumbs import size_of
from service.services import Services
from service.store.example_rows import Example, Wanted
from service.synced import draft_of

MANIFEST, COCO, DATASHEET = "manifest.csv", "coco.json", "DATASHEET.md"
COLUMNS = (
    "path",
    "label",
    "group",
    "split",
    "label_history",
    "reviewed",
    "sorter",
    "sort",
    "captured_on",
    "model_version",
    "imported",
    "made_from",
    "width",
    "height",
)
NO_BOXES = (
    "Each image shows one item and carries its label for the whole frame (category_id of the "
    "image). Nobody has drawn boxes, so there are no annotations."
)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the same set gives the same bytes
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class SetRow:
    """One photo of a set: where its file lies in the store and what the manifest says of it."""

    photo_name: str
    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ExampleSet:
    """A set ready to be written: its rows, and what was left out and why."""

    rows: tuple[SetRow, ...]
    left_out: Mapping[str, int]
    facts: SetFacts


@dataclass(frozen=True, slots=True)
class SetFile:
    """One file of a set."""

    path: str
    data: bytes


def plan_set(services: Services, *, reviewed_only: bool = False) -> ExampleSet:
    """Choose the photos, group and split them; nothing is written.

    A photo counts unless it was withdrawn, its sort keeps no photos, or its last review says
    unclear, two items or don't use. Splits are drawn by group, so no object is in two of them.

    Raises InvalidEntryError when no photo is left.
    """
    everything = services.log.examples(Wanted())[::-1]
    left_out = Counter(each.verdict for each in everything if not each.used and each.verdict)
    chosen = [each for each in everything if each.used]
    if reviewed_only:
        left_out["not reviewed"] = sum(each.verdict is None for each in chosen)
        chosen = [each for each in chosen if each.verdict is not None]
    if not chosen:
        raise InvalidEntryError(
            "there is no example to export: confirm photos in a sort that keeps them for training"
            + (", and review them" if reviewed_only else "")
        )
    groups = group_examples(chosen, seen_alike(services, chosen))
    splits = split_groups(groups)
    names = load_pseudonyms(services.settings.data_dir)
    histories = services.log.histories([each.capture_id for each in chosen])
    rows = []
    for each, group, split in zip(chosen, groups, splits, strict=True):
        history = _history(history_lines(histories[each.capture_id]), names)
        rows.append(SetRow(each.photo_name, _values(each, group, split, history, names)))
    return ExampleSet(
        rows=tuple(rows),
        left_out=dict(left_out),
        facts=_facts(services, chosen, groups, splits, left_out),
    )


def set_files(
    services: Services, planned: ExampleSet, *, progress: Progress | None = None
) -> Iterator[SetFile]:
    """Give the files of a set, one at a time: the photos, then what describes them.

    A photo that was withdrawn meanwhile, or is missing, is left out of the manifest too.

    Raises StorageError when a photo can't be read.
    """
    written: list[dict[str, str]] = []
    for done, row in enumerate(planned.rows, 1):
        try:
            data = services.photos.read(row.photo_name)
        except UnknownIdError:
            continue
        width, height = size_of(data)
        written.append({**row.values, "width": str(width), "height": str(height)})
        yield SetFile(row.values["path"], data)
        if progress is not None:
            progress(done, len(planned.rows))
    yield SetFile(MANIFEST, _manifest(written))
    yield SetFile(COCO, _coco(written, services.categories))
    yield SetFile(DATASHEET, datasheet(planned.facts).encode())


def write_set(
    services: Services, directory: Path, planned: ExampleSet, *, progress: Progress | None = None
) -> int:
    """Write a set into a folder that is empty or not there yet; return how many files.

    Raises InvalidEntryError for a folder with something in it: photos that were withdrawn since
    would stay there. StorageError when the disk refuses.
    """
    if directory.is_dir() and any(directory.iterdir()):
        raise InvalidEntryError(
            f"{directory} is not empty: give a new folder; an old set in it could hold photos that "
            "were withdrawn since",
            folder=str(directory),
        )
    count = 0
    try:
        for file in set_files(services, planned, progress=progress):
            path = directory / file.path
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file.data)
            count += 1
    except OSError as error:
        raise StorageError(
            f"the export to {directory} stopped ({error.strerror or error}): free some space or "
            "choose a folder that may be written, delete what is there and export again",
            folder=str(directory),
        ) from error
    return count


def write_zip(
    services: Services, target: Path, planned: ExampleSet, *, progress: Progress | None = None
) -> None:
    """Write a set into a new ZIP file that gets its name only once it is whole.

    Raises InvalidEntryError where something has the name already, StorageError when the disk
    refuses.
    """
    if target.exists():
        raise InvalidEntryError(f"{target} is there already: give a new name")
    try:
        with draft_of(target) as draft, draft.open("xb") as file:
            for chunk in zip_chunks(set_files(services, planned, progress=progress)):
                file.write(chunk)
    except OSError as error:
        raise StorageError(
            f"the export to {target} stopped ({error.strerror or error}): free some space or name "
            "a file in a folder that may be written, then export again",
            file=str(target),
        ) from error


def zip_chunks(files: Iterator[SetFile]) -> Iterator[bytes]:
    """Give a ZIP archive piece by piece: no more than one photo is in memory at a time."""
    out = _Passing()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for file in files:
            info = zipfile.ZipInfo(file.path, date_time=_EPOCH)
            info.external_attr = 0o644 << 16
            archive.writestr(info, file.data)
            yield out.taken()
    yield out.taken()


class _Passing(io.BytesIO):
    """A file without a way back: what is written is handed on."""

    def tell(self) -> int:
        """Refuse, so that nobody counts on a way back."""
        raise io.UnsupportedOperation

    def taken(self) -> bytes:
        """Return what was written since the last time."""
        given = self.getvalue()
        self.seek(0)
        self.truncate(0)
        return given


def _values(
    each: Example, group: str, split: str, history: str, names: Pseudonyms
) -> dict[str, str]:
    return {
        "path": f"{each.label}/{each.capture_id}.jpg",
        "label": each.label,
        "group": group,
        "split": split,
        "label_history": history,
        "reviewed": "yes" if each.verdict else "no",
        "sorter": names.of("person", each.sorter),
        "sort": names.of("sort", each.sort_id),
        "captured_on": f"{each.at:%Y-%m-%d}",
        "model_version": each.model or "",
        "imported": "no" if each.origin is None else "yes",
        "made_from": " ".join(read_origin(each.origin or "")[1]),
    }


def _history(lines: Sequence[HistoryLine], names: Pseudonyms) -> str:
    """Return what happened to a label; notes stay behind, since they may name people."""
    events = []
    for line in lines:
        what = " ".join(filter(None, (line.kind, line.category)))
        who = names.of("person", line.who)
        events.append(f"{line.at:%Y-%m-%d} {what}" + (f" by {who}" if who else ""))
    return "; ".join(events)


def _facts(
    services: Services,
    chosen: Sequence[Example],
    groups: Sequence[str],
    splits: Sequence[str],
    left_out: Mapping[str, int],
) -> SetFacts:
    objects: dict[str, set[str]] = {}
    for each, group in zip(chosen, groups, strict=True):
        objects.setdefault(each.label, set()).add(group)
    pictures = Counter(each.label for each in chosen)
    return SetFacts(
        photos=len(chosen),
        objects=len(set(groups)),
        sorts=len({each.sort_id for each in chosen}),
        people=len({each.sorter for each in chosen if each.sorter}),
        imported=sum(each.origin is not None for each in chosen),
        reviewed=sum(each.verdict is not None for each in chosen),
        relabelled=sum(each.label != each.first for each in chosen),
        anchored=sum(each.suggested is not None and not each.audit for each in chosen),
        first_day=min(each.at for each in chosen).date(),
        last_day=max(each.at for each in chosen).date(),
        models=tuple(sorted({each.model for each in chosen if each.model})),
        labels=tuple(
            (label, pictures[label], len(objects[label]))
            for label in sorted(pictures, key=lambda each: (-pictures[each], each))
        ),
        splits=dict(Counter(splits)),
        left_out=dict(left_out),
        categories_version=services.categories.version,
    )


def _manifest(rows: Sequence[Mapping[str, str]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: safe_cell(row[name]) for name in COLUMNS} for row in rows)
    return out.getvalue().encode()


def _coco(rows: Sequence[Mapping[str, str]], categories: Categories) -> bytes:
    group_names = {group.id: group.name for group in categories.groups}
    # A label of an older list has no group here.
    above = {each.id: group_names[each.group] for each in categories.categories}
    labels = sorted({row["label"] for row in rows})
    number = {label: place for place, label in enumerate(labels, 1)}
    whole = {
        "info": {"description": NO_BOXES},
        "images": [
            {
                "id": place,
                "file_name": row["path"],
                "width": int(row["width"]),
                "height": int(row["height"]),
                "date_captured": row["captured_on"],
                "category_id": number[row["label"]],
            }
            for place, row in enumerate(rows, 1)
        ],
        "annotations": [],
        "categories": [
            {"id": number[label], "name": label, "supercategory": above.get(label, "")}
            for label in labels
        ],
    }
    return (json.dumps(whole, indent=1) + "\n").encode()
