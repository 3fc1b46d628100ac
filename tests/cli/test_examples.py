"""`tallytare examples`: import, doubts, export, agreement and withdrawals, one after the other."""

from __future__ import annotations

import os
import time
import zipfile
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.tiny_bundle import photo_of

FORMS = {"food": "food", "Steel cans": "food_can", "tins": "food_can"}


@pytest.fixture
def theirs(tmp_path: Path) -> Path:
    """Return a folder per label."""
    root = tmp_path / "theirs"
    for label, form in FORMS.items():
        (root / label).mkdir(parents=True)
        (root / label / "a.jpg").write_bytes(photo_of(form) + label.encode())
    (root / "food" / "note.jpg").write_bytes(b"milk")
    return root


def test_from_a_folder_to_a_set_and_out_again(run: Run, theirs: Path, tmp_path: Path) -> None:
    dry = run("examples", "import", theirs, "--dry-run")
    assert dry.code == 1
    assert "unknown label 'tins', 1 pictures; nearest:" in dry.out
    assert "steel_cans: 1 (from Steel cans)" in dry.out
    assert "food/note.jpg" in dry.out
    refused = run("examples", "import", theirs)
    assert refused.code == 1
    assert "labels that are no category: tins" in refused.said
    known = ("--rename", "tins=steel_cans", "--source", "Theirs")
    assert run("examples", "import", theirs, "--dry-run", *known).code == 0
    done = run("examples", "import", theirs, *known)
    assert "Imported 3 photos as 'Theirs'." in done.out
    assert "already there: 3" in run("examples", "import", theirs, "--dry-run", *known).out

    doubts = run("examples", "doubts")
    assert doubts.code == 0
    assert "3 photos" in doubts.out
    assert "training refuses it" in doubts.out

    written = run("examples", "export", tmp_path / "set")
    assert "3 photos of" in written.out
    assert {each.name for each in (tmp_path / "set").iterdir()} == {
        "food",
        "steel_cans",
        "manifest.csv",
        "coco.json",
        "DATASHEET.md",
    }
    assert run("examples", "export", tmp_path / "set").code == 1
    assert run("examples", "export", tmp_path / "set.zip").code == 0
    assert zipfile.ZipFile(tmp_path / "set.zip").testzip() is None
    assert "is there already" in run("examples", "export", tmp_path / "set.zip").said

    assert "No coefficient: 0 photos" in run("examples", "agreement").out

    (photo,) = (tmp_path / "set" / "food").iterdir()
    asked = run("examples", "withdraw", "--photo", photo.stem)
    assert "would delete 1 photos" in asked.out
    assert "Withdrew 1 photos" in run("examples", "withdraw", "--photo", photo.stem, "--yes").out
    assert "Deleted 0 files." in run("examples", "withdraw", "--finish").out
    assert run("check").code == 0
    assert run("examples", "withdraw").code == 1
    assert "withdrawn from this store" in run("examples", "import", tmp_path / "set").out


def test_a_renaming_that_is_none(run: Run, theirs: Path) -> None:
    ran = run("examples", "import", theirs, "--rename", "tins")
    assert ran.code == 2
    assert "LABEL=CATEGORY" in ran.said


@pytest.mark.skipif(os.name == "nt", reason="Windows has no names that are not Unicode")
def test_a_file_whose_name_is_not_utf_8(run: Run, theirs: Path) -> None:
    """From an old disk: it is named, and the others come in."""
    file = os.fsencode(theirs / "food") + b"/caf\xe9.jpg"
    try:
        with open(file, "wb") as picture:
            picture.write(photo_of("food"))
    except OSError:
        pytest.skip("this file system takes no such name")
    known = ("--rename", "tins=steel_cans")
    ran = run("examples", "import", theirs, *known)
    assert "food/caf?.jpg: its name is not UTF-8: rename it" in ran.out
    assert "Imported 3 photos" in ran.out


def test_check_names_what_was_given_up(run: Run, data_dir: Path, theirs: Path) -> None:
    """What an import of today waits for is left alone; the next import deletes the rest."""
    folders = [data_dir / "examples" / "incoming" / name for name in ("fresh", "old")]
    for folder in folders:
        folder.mkdir(parents=True)
        (folder / "a.jpg").write_bytes(photo_of("food"))
    then = time.time() - 90_000
    os.utime(folders[1], (then, then))
    checked = run("check")
    assert checked.code == 1
    (line,) = [line for line in checked.out.splitlines() if "given up over 24 hours" in line]
    assert line.startswith(f"FIX   examples: {folders[1]} is left")
    assert run("examples", "import", theirs, "--rename", "tins=steel_cans").code == 0
    assert [folder.exists() for folder in folders] == [True, False]
    assert run("check").code == 0
