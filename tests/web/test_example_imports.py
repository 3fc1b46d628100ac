"""Sets of other trainers that come in through the page: what is taken, refused and forgotten."""

from __future__ import annotations

import io
import os
import re
import stat
import time
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.app import create_app
from service.examples import folder, import_page, reviews, upload
from service.examples.importing import plan_import
from service.examples.upload import forget_old_uploads, forget_upload, left_uploads
from service.services import Services
from service.settings import Settings
from service.store.example_rows import Wanted
from tests.fakes import jpeg, new_id
from tests.store.test_examples import confirmed, keeping_sort
from tests.web.markup import read_markup
from tests.web.test_examples import HTML, get, post


@pytest.fixture
def kept(services: Services) -> SortInfo:
    """Return a sort that keeps its photos for training."""
    return keeping_sort(services)


def packed(files: dict[str, bytes], way: int = zipfile.ZIP_STORED) -> bytes:
    """Return a ZIP."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", way) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def locked(files: dict[str, bytes]) -> bytes:
    """Return a ZIP whose one entry says that it needs a password."""
    data = bytearray(packed(files))
    data[6] |= 1  # the flags in the head of the entry, and in the list at the end
    data[data.index(b"PK\1\2") + 8] |= 1
    return bytes(data)


def send(client: TestClient, data: bytes, name: str = "Their set.zip") -> Any:
    """Upload an archive as a page does."""
    files = {"archive": (name, data, "application/zip")}
    return client.post("/examples/import", data={"source": ""}, files=files, headers=HTML)


def test_a_set_comes_in_through_the_page(client: TestClient, services: Services) -> None:
    """First what would happen, then the import; the raw files are gone afterwards."""
    files = {
        "set/food/a.jpg": jpeg(30, location=True),
        "set/tins/b.jpg": jpeg(90),
        "set/rubbish/c.jpg": jpeg(150),
        "__MACOSX/set/food/._a.jpg": b"x",
    }
    html = send(client, packed(files)).text
    assert "1 new picture as “Their set”" in html
    assert "“tins” is not a label here (1 picture)" in html
    assert read_markup(html).unlabelled() == []
    token = re.search(r'name="token" value="([0-9a-f-]{36})"', html)
    assert token is not None
    form = {"token": token[1], "source": "Their set"}
    for number, label in enumerate(re.findall(r'name="label-\d" value="(\w+)"', html), 1):
        form |= {f"label-{number}": label}
    chosen = {name.replace("label", "to"): "-" if value == "rubbish" else "steel_cans"
              for name, value in form.items() if name.startswith("label")}  # fmt: skip
    refused = post(client, "/examples/import/run", form)
    assert refused.status_code == 422
    assert "Labels that are no category" in refused.text
    done = post(client, "/examples/import/run", {**form, **chosen})
    assert done.headers["location"] == "/examples/import?done=2"
    assert "2 photos imported" in get(client, done.headers["location"])
    assert sorted(each.label for each in services.log.examples(Wanted())) == ["food", "steel_cans"]
    assert not list(services.settings.data_dir.glob("examples/incoming/*"))
    assert post(client, "/examples/import/run", form).status_code == 404
    assert client.get("/api/sorts").json() == []


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"no archive", "is no ZIP that can be read: pack the folder as a plain ZIP"),
        (packed({"food/a.jpg": jpeg()})[:-30], "it may have been cut off on its way"),
        (locked({"food/a.jpg": jpeg()}), "as a plain ZIP, without a password"),
        (packed({"../food/a.jpg": b"x"}), "leads out of it"),
        (packed({"/food/a.jpg": b"x"}), "leads out of it"),
        (packed({"a.jpg": b"x"}), "holds no labelled picture"),
        (packed({f"food/{n}.jpg": b"" for n in range(5001)}), "more than 5,000 files"),
        (b"", "The file is empty"),
        (packed({}), "The archive is empty: pack the folder again"),
        (packed({"a.jpg": b"x"}), "The archive holds no labelled picture"),
        (
            packed({"set/manifest.csv": b"a,b\n", "set/food/a.jpg": b"x"}),
            "In the archive, manifest.csv needs",
        ),
    ],
)
def test_archives_that_are_refused(
    client: TestClient, services: Services, data: bytes, message: str
) -> None:
    answer = send(client, data)
    assert answer.status_code == 422
    assert message in answer.text
    assert str(services.settings.data_dir) not in answer.text
    assert not list(services.settings.data_dir.glob("examples/incoming/*"))


def test_files_that_stay_out_are_named_by_their_place_in_the_archive(
    client: TestClient, services: Services
) -> None:
    """In sight at once where nothing else comes in."""
    listed = {"manifest.csv": b"path,label\nfood/b.jpg,food\n", "food/a.jpg": jpeg(30)}
    html = send(client, packed(listed)).text
    assert "<details open><summary>Can&#39;t be taken: 1</summary>" in html
    assert "food/b.jpg: " in html
    assert str(services.settings.data_dir) not in html
    assert "Nothing to import." in html
    assert ">Import</button>" not in html
    many = {f"food/{n}.jpg": b"x" for n in range(import_page.MOST_LINES + 3)}
    html = send(client, packed(many)).text
    assert f"<details><summary>Can&#39;t be taken: {len(many)}</summary>" in html
    assert "and 3 more" in html
    some = send(client, packed({"food/a.jpg": jpeg(30), "food/b.jpg": b"x"})).text
    assert "<details><summary>Can&#39;t be taken: 1</summary>" in some


LIST = b"path,label\nfood/a.jpg,food\n"


@pytest.mark.parametrize(
    "files",
    [
        {"set/food/a.jpg": jpeg(30), "set/readme.txt": b"x"},
        {"set/food/a.JPG": jpeg(30), "readme.txt": b"x"},
        {"set/food/a.jpg": jpeg(30), "papers/readme.txt": b"x"},
        {"set/food/a.jpg": jpeg(30), "set/manifest.csv": LIST, "readme.txt": b"x"},
        {"set/food/no_suffix": jpeg(30)},
        {"food/a.jpg": jpeg(30), "food/more/readme.txt": b"x"},
        {"set/food/a.jpg": jpeg(30), "manifest.csv": LIST.replace(b"food/", b"set/food/")},
    ],
)
def test_what_lies_beside_the_pictures_hides_none(
    client: TestClient, files: dict[str, bytes]
) -> None:
    """An archive of a folder holds that folder, whatever else is in it or next to it."""
    html = send(client, packed(files)).text
    assert "1 new picture as “Their set”" in html
    assert "is not a label here" not in html


def test_pictures_in_no_label_s_folder_are_named(client: TestClient) -> None:
    files = {"food/a.jpg": jpeg(30), "food/may/b.jpg": jpeg(60), "c.jpg": jpeg(90)}
    html = send(client, packed({**files, "food/may/notes.txt": b"x", "food/may/.d.jpg": b"x"})).text
    assert "1 new picture as “Their set”" in html
    assert "Can&#39;t be taken: 2<" in html
    for path in ("c.jpg", "food/may/b.jpg"):
        assert f"<li>{path}: only pictures straight in the folder of a label are read" in html
    deeper = send(client, packed({"set/food/may/b.jpg": jpeg(60)})).text
    assert "Nothing to import." in deeper
    assert "<li>food/may/b.jpg: only pictures straight" in deeper


def test_an_archive_without_pictures_asks_for_no_label(client: TestClient) -> None:
    """Another program's file may be a ZIP of folders too."""
    html = send(client, packed({"docs/app.xml": b"<a/>", "docs/b.xml": b"<b/>"})).text
    assert "Nothing to import." in html
    assert "docs/app.xml: " in html
    assert "is not a label here" not in html
    assert ">Import</button>" not in html


@pytest.mark.parametrize(
    "way", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA]
)
def test_damage_in_an_archive_is_told_however_it_was_packed(
    client: TestClient, services: Services, way: int
) -> None:
    whole = packed({"food/a.jpg": bytes(range(250)) * 20}, way)
    packed_bytes = range(64, 64 + (whole.index(b"PK\1\2") - 64) // 2)  # behind the entry's head
    for at in packed_bytes[:: max(1, len(packed_bytes) // 40)]:
        broken = whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :]
        answer = send(client, broken)
        assert answer.status_code == 422, at
        assert "is no ZIP that can be read: " in answer.text
        assert "without a password" not in answer.text
    assert waiting(services) == set()


def test_an_archive_may_name_its_own_folder(client: TestClient) -> None:
    html = send(client, packed({".": b"x", "food/a.jpg": jpeg(30)})).text
    assert "1 new picture as “Their set”" in html


def test_an_archive_that_unfolds_too_far_is_refused(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.examples.upload.MOST_BYTES", 1000)
    assert "1,000 bytes" in send(client, packed({"food/a.jpg": bytes(2000)})).text


def looked_at(client: TestClient, shade: int) -> str:
    """Upload a set of one picture and return the token of what then waits for its import."""
    html = send(client, packed({"food/a.jpg": jpeg(shade, location=True)})).text
    found = re.search(r'name="token" value="([0-9a-f-]{36})"', html)
    assert found is not None
    return found[1]


def waiting(services: Services) -> set[str]:
    """Return the tokens of what waits on the disk."""
    return {each.name for each in services.settings.data_dir.glob("examples/incoming/*")}


def test_two_trainers_look_at_sets_at_once(client: TestClient, services: Services) -> None:
    """Neither loses what the other has not imported; a heap of them does not fill the disk."""
    first, second = looked_at(client, 30), looked_at(client, 60)
    assert waiting(services) == {first, second}
    for token in (first, second):
        done = post(client, "/examples/import/run", {"token": token, "source": token})
        assert done.headers["location"] == "/examples/import?done=1"
    assert waiting(services) == set()
    tokens = [looked_at(client, 90 + n) for n in range(5)]
    assert waiting(services) == set(tokens[-3:])
    gone = post(client, "/examples/import/run", {"token": tokens[0], "source": "x"})
    assert (gone.status_code, "send the archive again" in gone.text) == (404, True)


def test_a_withdrawal_deletes_the_sets_that_wait(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    """An old export among them may hold the photo."""
    one = confirmed(services, kept)
    tokens = [looked_at(client, shade) for shade in (30, 60)]
    assert waiting(services) == set(tokens)
    form = {"request_id": new_id(), "capture": one, "sure": "yes"}
    assert post(client, "/examples/withdraw", form).status_code == 303
    assert waiting(services) == set()
    gone = post(client, "/examples/import/run", {"token": tokens[0], "source": "x"})
    assert (gone.status_code, "none once photos are withdrawn" in gone.text) == (404, True)


def test_what_stays_out_stands_under_what_it_is(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    """A withdrawn photo is not there, and one in the wrong place can be read."""
    one = confirmed(services, kept)
    sent = client.get(f"/photos/{one}.jpg").content
    reviews.withdraw(services, request_id=new_id(), capture_ids=[one])
    html = send(client, packed({"food/mine.jpg": sent, "b.jpg": jpeg(30)})).text
    assert "Already there, or withdrawn: 1<" in html
    assert "food/mine.jpg: withdrawn from this store" in html
    assert "Can&#39;t be taken: 1<" in html


def test_a_bad_upload_pushes_no_good_one_out(client: TestClient, services: Services) -> None:
    """Be it no ZIP, a damaged one, or one whose manifest can't be used."""
    tokens = {looked_at(client, 30 * n) for n in range(1, 4)}
    whole = packed({"food/a.jpg": jpeg(120)})
    for data in (
        b"no archive",
        whole.replace(jpeg(120)[:200], bytes(200)),
        packed({"food/a.jpg": jpeg(120), "manifest.csv": b"path,label\nfood/b\0.jpg,food\n"}),
    ):
        assert send(client, data).status_code == 422
        assert waiting(services) == tokens


@pytest.mark.skipif(os.name == "nt", reason="links need a right of their own on Windows")
def test_uploads_that_can_not_be_looked_at_hide_no_others(tmp_path: Path) -> None:
    """Another process may delete some meanwhile; and without the folder there are none."""
    incoming = tmp_path / "examples" / "incoming"
    incoming.parent.mkdir()
    incoming.write_text("no folder")
    assert left_uploads(tmp_path) == ()
    incoming.unlink()
    incoming.mkdir()
    for name in "abc":
        (incoming / name).symlink_to("gone")
        (incoming / f"left-{name}").mkdir()
        os.utime(incoming / f"left-{name}", (1, 1))
    assert {each.name for each in left_uploads(tmp_path)} == {"left-a", "left-b", "left-c"}
    forget_old_uploads(tmp_path)
    assert left_uploads(tmp_path) == ()


@pytest.mark.parametrize("hours", [25, -25])
def test_what_nobody_imports_goes_after_a_day(
    client: TestClient, services: Services, settings: Settings, hours: float
) -> None:
    """At the next start, look or import; also where the clock was set back since."""

    def left_alone() -> str:
        token = looked_at(client, 30)
        folder = services.settings.data_dir / "examples" / "incoming" / token
        then = time.time() - 3600 * hours
        os.utime(folder, (then, then))
        return token

    old, fresh = left_alone(), looked_at(client, 60)
    assert waiting(services) == {fresh}, "the next look"
    old = left_alone()
    with TestClient(create_app(settings, services=replace(services))):
        assert waiting(services) == {fresh}, "the next start"
    old = left_alone()
    post(client, "/examples/import/run", {"token": fresh, "source": "x"})
    assert waiting(services) == set(), "the next import"
    assert post(client, "/examples/import/run", {"token": old, "source": "x"}).status_code == 404


def test_a_picture_that_vanishes_during_the_import(
    client: TestClient, services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sent twice: the first deletes what the second is still reading."""
    token = looked_at(client, 30)

    def planned(*given: Any, **named: Any) -> Any:
        made = plan_import(*given, **named)
        forget_upload(services, token)
        return made

    monkeypatch.setattr(import_page, "plan_import", planned)
    again = post(client, "/examples/import/run", {"token": token, "source": "x"})
    assert (again.status_code, "read any more" in again.text) == (422, True)


def test_a_path_that_leads_nowhere(client: TestClient) -> None:
    """A NUL in a manifest is named with its line."""
    manifest = b"path,label\nfood/a.jpg,food\nfood/b\0.jpg,food\n"
    answer = send(client, packed({"food/a.jpg": jpeg(), "manifest.csv": manifest}))
    assert (answer.status_code, "manifest.csv, line 3" in answer.text) == (422, True)


DEEP = "/".join(["x"] * 2_000)


@pytest.mark.parametrize(
    ("files", "message"),
    [
        ({f"{DEEP}/a.jpg": jpeg()}, "deeper than 8 folders"),
        ({f"food/{'ü' * 150}.jpg": jpeg()}, "with a name over 200 bytes"),
        ({"food": b"x", "food/a.jpg": jpeg()}, "as a file and as a folder"),
        ({"food/a.jpg": jpeg(), "food/a.jpg/b.jpg": jpeg()}, "as a file and as a folder"),
    ],
)
def test_names_that_no_folder_can_hold_are_refused(
    client: TestClient, services: Services, files: dict[str, bytes], message: str
) -> None:
    answer = send(client, packed(files))
    assert (answer.status_code, message in answer.text) == (422, True)
    assert waiting(services) == set()


def test_a_list_of_too_many_lines_is_refused_with_the_line(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two million lines that name one picture are a few megabytes, packed a few kilobytes."""
    lines = b"path,label\n" + b"food/a.jpg,food\n" * folder.MOST_LINES
    answer = send(
        client, packed({"food/a.jpg": jpeg(), "manifest.csv": lines}, zipfile.ZIP_DEFLATED)
    )
    assert answer.status_code == 422
    assert f"line {folder.MOST_LINES + 1:d}" in answer.text
    monkeypatch.setattr("service.examples.upload.MOST_LIST_BYTES", 1_000_000)
    assert "archive holds more than" in send(client, packed({"manifest.csv": lines})).text


def test_a_picture_is_decoded_once_however_often_it_is_listed(
    client: TestClient, services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When it arrives; afterwards only its cleaned copy is looked at."""
    seen: list[bytes] = []
    read = type(services.reader).read

    def counted(self: Any, data: bytes, /, max_side: int) -> Any:
        seen.append(data)
        return read(self, data, max_side)

    monkeypatch.setattr(type(services.reader), "read", counted)
    lines = b"path,label\n" + b"food/a.jpg,food\n./food/a.jpg,food\n" * 50
    html = send(client, packed({"food/a.jpg": jpeg(30), "manifest.csv": lines})).text
    assert "1 new picture" in html
    assert seen == [jpeg(30)]
    token = waiting(services).pop()
    done = post(client, "/examples/import/run", {"token": token, "source": "x"})
    assert done.headers["location"] == "/examples/import?done=1"
    assert seen.count(jpeg(30)) == 1
    (name,) = services.photos.names()
    assert seen[1:] == [services.photos.read(name)]


def test_no_place_that_a_picture_tells_reaches_the_disk(
    client: TestClient, services: Services
) -> None:
    """Nor does anything else of a file: what waits is the cleaned copy, for this user alone."""
    sent = jpeg(30, location=True)
    assert b"Exif" in sent
    send(client, packed({"food/a.jpg": sent, "food/notes.txt": b"52 N 4 E", "b.jpg": sent}))
    files = [each for each in services.settings.data_dir.rglob("*") if each.is_file()]
    incoming = [each for each in files if "incoming" in each.parts]
    assert len(incoming) == 4
    for each in files:
        assert b"Exif" not in each.read_bytes()
        assert b"52 N" not in each.read_bytes()
    if os.name != "nt":
        assert {stat.S_IMODE(each.stat().st_mode) for each in incoming} == {0o600}
        assert {stat.S_IMODE(each.parent.stat().st_mode) for each in incoming} == {0o700}


def test_one_archive_is_looked_at_at_a_time(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six at once would hold gigabytes; who comes meanwhile is asked to wait."""
    monkeypatch.setattr(upload, "PATIENCE_S", 0.05)
    with upload._LOOKING:
        busy = send(client, packed({"food/a.jpg": jpeg()}))
    assert (busy.status_code, "send it again in a minute" in busy.text) == (503, True)
    assert send(client, packed({"food/a.jpg": jpeg()})).status_code == 200


def test_a_list_of_millions_is_not_even_read(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The list at the end of a ZIP names its files; each name takes half a kilobyte of memory."""
    whole = packed({f"food/{n}.jpg": b"" for n in range(200)})
    monkeypatch.setattr(upload, "MOST_FILES", 50)
    monkeypatch.setattr(zipfile, "ZipFile", None)
    answer = send(client, whole)
    assert (answer.status_code, "more than 50 files" in answer.text) == (422, True)
