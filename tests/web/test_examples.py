"""The trainer's pages as forms, without a line of script; and what they must not show."""

from __future__ import annotations

import io
import re
import time
import zipfile
from functools import partial
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.examples import reviews
from service.services import Services
from tests.fakes import FakePredictor, new_id
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
    monkeypatch.setattr(reviews, "list_examples", partial(reviews.list_examples, length=2))
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


def test_doubts_are_found_listed_and_gone_once_reviewed(
    client: TestClient, services: Services, kept: SortInfo, predictor: FakePredictor
) -> None:
    fill(services, kept, predictor)
    random = predictor.embedding
    predictor.embedding = tuple(8.0 * (place == 1) + 0.1 * value for place, value in
                                enumerate(random))  # fmt: skip
    wrong = confirmed(services, kept, "food", shade=250)
    unseen = get(client, "/examples?show=doubted").partition("</details>")[2]  # not folded away
    assert "The set was not checked yet" in unseen
    assert "No photo matches" not in unseen
    assert post(client, "/examples/trouble", {}).status_code == 303
    html = get(client, "/examples/trouble")
    assert "49 photos, 49 labels judged" in html
    assert "fewer than 19" in html
    html = get(client, "/examples?show=doubted")
    assert wrong in ticked(html)
    assert "perhaps Garden" in html
    assert listed_as_doubted(client) == len(ticked(html))
    reviews.review(services, batch_id=new_id(), capture_ids=[wrong], verdict="label")
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
    """Return how many labels in doubt the page of the check promises."""
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
        reviews.review(services, batch_id=new_id(), capture_ids=[one], verdict=verdict)
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
    reviews.withdraw(services, request_id=new_id(), capture_ids=[one])
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
    assert "Your name" in get(client, "/second-opinions")
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
    assert ("Usual word for this alpha: <b>" in html) is named
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
