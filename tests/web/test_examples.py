"""The trainer's pages as forms, without a line of script; and what they must not show."""

from __future__ import annotations

import io
import os
import re
import time
import zipfile
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.domain.records import SortInfo
from service.app import create_app
from service.settings import Settings
from service.store.example_rows import Wanted
from service.usecases import examples
from service.usecases.example_upload import forget_old_uploads, forget_upload, left_uploads
from service.usecases.services import Services
from service.web import import_page
from tests.fakes import FakePredictor, jpeg, new_id
from tests.store.test_example_sets import fill
from tests.store.test_examples import confirmed, keeping_sort, look
from tests.web.markup import read_markup

HTML = {"accept": "text/html"}


@pytest.fixture
def kept(services: Services) -> SortInfo:
    """Return a sort that keeps its photos for training."""
    return keeping_sort(services)


def post(client: TestClient, path: str, data: dict[str, Any]) -> Any:
    """Send a form as a page does."""
    return client.post(path, data=data, headers=HTML, follow_redirects=False)


def get(client: TestClient, path: str) -> str:
    """Return a page."""
    answer = client.get(path, headers=HTML)
    assert answer.status_code == 200, answer.text
    return answer.text


def ticked(html: str) -> list[str]:
    """Return the photos of a page that can be ticked."""
    return re.findall(r'name="capture" value="([0-9a-f-]{36})"', html)


def test_filter_relabel_and_undo_without_script(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    made = [confirmed(services, kept, shade=20 + 40 * n) for n in range(3)]
    confirmed(services, kept, "steel_cans", shade=200)
    html = get(client, "/examples?category=food&state=no")
    assert ticked(html) == made[::-1]
    batch = new_id()
    form = {
        "batch_id": batch,
        "capture": made[:2],
        "do": "relabel",
        "label": "tissue",
        "who": "Eva",
        "category": "food",
        "state": "no",
    }
    answer = post(client, "/examples/review", form)
    assert answer.status_code == 303
    back = answer.headers["location"]
    assert "category=food" in back
    html = get(client, back)
    assert ticked(html) == made[2:]
    assert "2 photos reviewed" in html
    assert 'value="Eva"' in html
    assert look(services, made[0]) == ("tissue", "label")
    undone = post(client, "/examples/undo", {"batch": batch, "undo_id": new_id(), "state": "no"})
    assert undone.headers["location"] == "/examples?state=no&done=undone"
    assert look(services, made[0]) == ("food", None)


@pytest.mark.parametrize(
    ("do", "standing"),
    [("right", "label"), ("unclear", "unclear"), ("two_items", "two_items"),
     ("dont_use", "dont_use")],
)  # fmt: skip
def test_verdicts(
    client: TestClient, services: Services, kept: SortInfo, do: str, standing: str
) -> None:
    one = confirmed(services, kept)
    form = {"batch_id": new_id(), "capture": one, "do": do, "label": "tissue"}
    assert post(client, "/examples/review", form).status_code == 303
    assert look(services, one) == ("food", standing)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"capture": []}, "No photo is chosen"),
        ({"label": ""}, "No label is chosen"),
        ({"do": "eat"}, "allowed are label, unclear"),
        ({"batch_id": "x"}, "is no UUID"),
    ],
)
def test_a_refusal_says_why(
    client: TestClient, services: Services, kept: SortInfo, change: dict[str, Any], message: str
) -> None:
    one = confirmed(services, kept)
    form = {"batch_id": new_id(), "capture": [one], "do": "relabel", "label": "tissue", **change}
    answer = post(client, "/examples/review", form)
    assert answer.status_code == 422
    assert message in answer.text
    assert look(services, one) == ("food", None)


def test_a_refused_review_keeps_ticks_label_and_page(
    client: TestClient, services: Services, kept: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixty photos that were ticked one by one are not ticked twice."""
    monkeypatch.setattr(examples, "list_examples", partial(examples.list_examples, length=2))
    made = [confirmed(services, kept, shade=20 + 40 * n) for n in range(3)]
    form = {"batch_id": new_id(), "capture": made[:1], "do": "eat", "label": "tissue", "page": "2"}
    html = post(client, "/examples/review", form).text
    assert f'value="{made[0]}" checked' in html
    assert '<option value="tissue" selected' in html
    assert "Page 2 of 2" in html
    assert f'value="{made[0]}" >' in get(client, "/examples?page=2")


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("below=many", "give a per cent"),
        ("below=900", "give a per cent"),
        ("since=1.5.2026", "is no date"),
        ("until=9999-12-31", "no photo was taken so far"),
        ("since=0001-01-01", "no photo was taken so far"),
        ("show=nonsense", "There is no list"),
        ("state=nonsense", "There is no review"),
        ("disagreement=nonsense", "left out"),
    ],
)
def test_filters_that_mean_nothing_are_told(
    client: TestClient,
    services: Services,
    kept: SortInfo,
    monkeypatch: pytest.MonkeyPatch,
    query: str,
    message: str,
) -> None:
    """No photo is shown instead, the filters stay as typed, and nothing is said of records."""
    monkeypatch.setenv("TZ", "Asia/Tokyo")  # the first day there begins before the year 1 in UTC
    time.tzset()
    confirmed(services, kept)
    answer = client.get(f"/examples?{query}&category=food", headers=HTML)
    monkeypatch.undo()
    time.tzset()
    assert answer.status_code == 422
    assert "No photo is shown." in answer.text
    assert message in answer.text
    assert "Not recorded" not in answer.text
    assert ticked(answer.text) == []
    assert '<option value="food" selected' in answer.text


def test_filters_by_day_and_confidence(
    client: TestClient, services: Services, kept: SortInfo, predictor: FakePredictor
) -> None:
    predictor.forms = (("drink_can", 0.6), ("food", 0.4))
    unsure = confirmed(services, kept)
    assert ticked(get(client, "/examples?below=61&since=2026-05-01&until=2026-05-01")) == [unsure]
    assert ticked(get(client, "/examples?below=60")) == []
    assert ticked(get(client, "/examples?until=2026-04-30")) == []
    assert ticked(get(client, "/examples?disagreement=yes")) == [unsure]
    html = get(client, "/examples?disagreement=yes&sorter=Ada")
    assert "confirmed by Ada; the model suggested something else" in html


def test_trouble_is_found_listed_and_gone_once_reviewed(
    client: TestClient, services: Services, kept: SortInfo, predictor: FakePredictor
) -> None:
    fill(services, kept, predictor)
    random = predictor.embedding
    predictor.embedding = tuple(8.0 * (place == 1) + 0.1 * value for place, value in
                                enumerate(random))  # fmt: skip
    wrong = confirmed(services, kept, "food", shade=250)
    unseen = get(client, "/examples?show=doubted").partition("</details>")[2]  # not folded away
    assert "Nobody has looked for trouble yet" in unseen
    assert "Nothing fits" not in unseen
    assert post(client, "/examples/trouble", {}).status_code == 303
    html = get(client, "/examples/trouble")
    assert "49 photos, 49 labels judged" in html
    assert "fewer than 19" in html
    html = get(client, "/examples?show=doubted")
    assert wrong in ticked(html)
    assert "perhaps Garden" in html
    assert listed_as_doubted(client) == len(ticked(html))
    examples.review(services, batch_id=new_id(), capture_ids=[wrong], verdict="label")
    left = ticked(get(client, "/examples?show=doubted"))
    assert wrong not in left
    assert listed_as_doubted(client) == len(left)
    for name in ("teaching", "grouped", "poor", "two_labels"):
        get(client, f"/examples?show={name}")


def test_days_and_times_of_a_label_are_those_of_one_clock(
    client: TestClient, services: Services, kept: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nine in the morning of the first of May in UTC is the evening before, twelve hours west."""
    one = confirmed(services, kept)
    monkeypatch.setenv("TZ", "WEST+12")
    time.tzset()
    html = get(client, f"/examples/photo/{one}")
    monkeypatch.undo()
    time.tzset()
    assert re.search(r"30 Apr 2026, 21:\d\d", html)
    assert "1 May 2026" not in html


def listed_as_doubted(client: TestClient) -> int:
    """Return how many doubted labels the page about trouble promises."""
    found = re.search(r'show=doubted">.*?class="figure">(\d+)<', get(client, "/examples/trouble"))
    assert found is not None
    return int(found[1])


def test_an_example_leads_back_to_the_list_it_was_opened_from(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    one = confirmed(services, kept)
    html = get(client, "/examples?category=food&state=no")
    opened = f"/examples/photo/{one}?category=food&state=no&page=1"
    assert opened.replace("&", "&amp;") in html
    html = get(client, opened)
    assert 'href="/examples?category=food&amp;state=no&amp;page=1"' in html
    hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', html))
    done = post(client, "/examples/review", {**hidden, "do": "relabel", "label": "food"})
    assert done.headers["location"].startswith("/examples?category=food&state=no&page=1&done=1")


def test_one_example_with_its_history(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    one = confirmed(services, kept)
    review = {"batch_id": new_id(), "capture": one, "do": "relabel", "label": "tissue"}
    post(client, "/examples/review", {**review, "note": "dry", "who": "Eva"})
    html = get(client, f"/examples/photo/{one}")
    assert re.search(r"confirmed: Food.*reviewed: Tissue", html, re.DOTALL)
    assert "dry" in html
    gone = client.get(f"/examples/photo/{new_id()}", headers=HTML)
    assert gone.status_code == 404
    assert 'href="/examples">Back to the examples' in gone.text


def test_the_set_comes_as_a_zip(client: TestClient, services: Services, kept: SortInfo) -> None:
    one = confirmed(services, kept)
    assert "1 confirmed photo in it, 0 of them reviewed" in get(client, "/examples/set")
    answer = client.get("/examples/export.zip")
    assert answer.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.testzip() is None
        assert f"food/{one}.jpg" in archive.namelist()
    nothing = client.get("/examples/export.zip?reviewed=yes", headers=HTML)
    assert nothing.status_code == 422


def test_the_set_is_told_as_it_will_be_exported(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    """A photo that is left out was reviewed, too, but is in no set."""
    made = [confirmed(services, kept, shade=20 + 40 * n) for n in range(3)]
    for one, verdict in zip(made, ("label", "unclear"), strict=False):
        examples.review(services, batch_id=new_id(), capture_ids=[one], verdict=verdict)
    html = get(client, "/examples/set")
    assert "2 confirmed photos in it, 1 of them reviewed" in html
    assert "1 left out" in html


def test_photos_of_a_sorter_are_withdrawn_after_counting(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    confirmed(services, kept, shade=30)
    bens = confirmed(services, kept, shade=90, who="Ben")
    assert "Delete 1 photo<" in get(client, "/examples/withdraw?sorter=Ben")
    form = {"request_id": new_id(), "sorter": "Ben", "sort": ""}
    refused = post(client, "/examples/withdraw", form)
    assert refused.status_code == 422
    assert "tick that you are sure" in refused.text
    done = post(client, "/examples/withdraw", {**form, "sure": "yes", "reason": "asked"})
    assert done.headers["location"].startswith("/examples/withdraw?done=1&request=")
    html = get(client, done.headers["location"])
    assert "1 photo withdrawn" in html
    assert f"{bens}.jpg" in html  # as it is called in exports made before
    for address in (f"/photos/{bens}.jpg", f"/thumbs/{bens}.jpg", f"/examples/photo/{bens}"):
        assert client.get(address).status_code == 404
    assert bens not in get(client, "/examples")
    assert "was withdrawn" in client.get(f"/photos/{bens}.jpg").json()["error"]["message"]


@pytest.mark.parametrize("address", ["/photos/{one}.jpg", "/thumbs/{one}.jpg"])
def test_a_picture_that_a_browser_keeps_is_asked_for_each_time(
    client: TestClient, services: Services, kept: SortInfo, address: str
) -> None:
    """So that a withdrawn one is seen no more where it was looked at before."""
    one = confirmed(services, kept)
    first = client.get(address.format(one=one))
    assert first.headers["cache-control"] == "private, no-cache"
    known = {"if-none-match": first.headers["etag"]}
    again = client.get(address.format(one=one), headers=known)
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]
    other = client.get(address.format(one=one), headers={"if-none-match": '"else"'})
    assert other.content == first.content
    examples.withdraw(services, request_id=new_id(), capture_ids=[one])
    assert client.get(address.format(one=one), headers=known).status_code == 404


def test_a_single_photo_is_withdrawn_on_its_page(
    client: TestClient, services: Services, kept: SortInfo
) -> None:
    one, other = confirmed(services, kept, shade=30), confirmed(services, kept, shade=90)
    form = {"request_id": new_id(), "capture": one, "sure": "yes"}
    assert post(client, "/examples/withdraw", form).status_code == 303
    assert ticked(get(client, "/examples")) == [other]


def test_a_second_opinion_is_given_blind(
    client: TestClient, services: Services, kept: SortInfo, predictor: FakePredictor
) -> None:
    """The page holds neither the label nor the suggestion, nor who gave them."""
    predictor.forms = (("drink_can", 0.9), ("food", 0.1))
    one = confirmed(services, kept, "garden", who="Zacharias")
    assert "You are" in get(client, "/second-opinions")
    html = get(client, "/second-opinions?who=Ben")
    assert f"/photos/{one}.jpg" in html
    assert "Zacharias" not in html
    assert "selected" not in html
    form = {"review_id": new_id(), "capture": one, "who": "Ben", "label": ""}
    assert "No label is chosen" in post(client, "/second-opinions", form).text
    assert "Nothing left" in post(client, "/second-opinions", {**form, "label": "food"}).text
    again = post(client, "/second-opinions", {**form, "review_id": new_id(), "label": "food"})
    assert again.status_code == 409
    other = confirmed(services, kept, "garden", shade=9)
    cant = {"review_id": new_id(), "capture": other, "who": "Ben", "cant_tell": "yes"}
    assert "Nothing left" in post(client, "/second-opinions", cant).text
    assert look(services, one) == ("garden", None)
    assert "0" in get(client, "/examples/agreement")


@pytest.mark.parametrize(("photos", "named"), [(3, False), (20, True)])
def test_agreement_of_a_few_photos_bears_no_word(
    client: TestClient, services: Services, kept: SortInfo, photos: int, named: bool
) -> None:
    for number in range(photos):
        label = ("food", "garden")[number % 2]
        one = confirmed(services, kept, label, shade=5 * number + 10)
        for who in ("Ben", "Cleo"):
            form = {"review_id": new_id(), "capture": one, "who": who, "label": label}
            assert post(client, "/second-opinions", form).status_code == 200
    html = get(client, "/examples/agreement")
    assert "alpha" in html
    assert ("Customary word for the alpha: <b>" in html) is named
    assert ("would say too much" in html) is not named


@pytest.mark.parametrize(
    "address",
    [
        "/examples",
        "/examples?category=food",
        "/examples?category=tissue",
        "/examples/photo/{one}",
        "/examples/trouble",
        "/examples/set",
        "/examples/import",
        "/examples/withdraw",
        "/examples/withdraw?sorter=Ada",
        "/examples/agreement",
        "/second-opinions",
        "/second-opinions?who=Ben",
        "/second-opinions?who=Ada",
    ],
)
def test_markup(client: TestClient, services: Services, kept: SortInfo, address: str) -> None:
    one = confirmed(services, kept)
    post(client, "/examples/trouble", {})
    markup = read_markup(get(client, address.format(one=one)))
    assert markup.unlabelled() == []
    assert markup.nameless() == []
    assert markup.faults == []
    assert len(markup.ids) == len(set(markup.ids))
    assert markup.headings[0] == 1
    assert markup.headings.count(1) == 1
    for before, after in zip(markup.headings, markup.headings[1:], strict=False):
        assert after <= before + 1, markup.headings


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
    assert "“tins” is no label here (1 picture)" in html
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
        (packed({}), "The archive is empty: pack the folder anew"),
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
    assert "is no label here" not in html


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
    assert "is no label here" not in html
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
    monkeypatch.setattr("service.usecases.example_upload.MOST_BYTES", 1000)
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
    examples.withdraw(services, request_id=new_id(), capture_ids=[one])
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
    plan = import_page.plan_import

    def planned(*given: Any, **named: Any) -> Any:
        made = plan(*given, **named)
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
