"""Weighing through the form: each way to weigh, each refusal with what was typed still there."""

from __future__ import annotations

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from tests.fakes import new_id

HTML = {"accept": "text/html"}


def _form(**changes: str) -> dict[str, str]:
    return {
        "weighing_id": new_id(),
        "pile": "category:steel_cans",
        "method": "container",
        "gross": "1.20",
        "tare": "0.80",
        "unit": "kg",
        "resolution": "0.02",
        **changes,
    }


def _weigh(client: TestClient, sort: SortInfo, form: dict[str, str]) -> Any:
    return client.post(
        f"/sorts/{sort.id}/weighings", data=form, headers=HTML, follow_redirects=False
    )


def _weighings(client: TestClient, sort: SortInfo) -> list[dict[str, Any]]:
    piles = client.get(f"/api/sorts/{sort.id}/piles").json()["piles"]
    return [each for pile in piles for batch in pile["batches"] for each in batch["weighings"]]


def _tare(client: TestClient, sort: SortInfo) -> str:
    form = {
        "tare_id": new_id(),
        "name": "Blue tub",
        "weight": "28.2",
        "unit": "oz",
        "resolution": "0.1",
    }
    answer = client.post(f"/sorts/{sort.id}/tares", data=form, headers=HTML, follow_redirects=False)
    assert answer.headers["location"].endswith("#tares")
    return form["tare_id"]


def test_weigh_in_a_container(client: TestClient, sort: SortInfo) -> None:
    answer = _weigh(client, sort, _form(note="wet", contents_left="yes", capacity="30"))
    assert answer.status_code == 303
    page = client.get(answer.headers["location"], headers=HTML).text
    assert "The weighing is recorded: Steel cans, 400\u00a0g net." in page
    assert "400\u00a0g" in page
    assert "380\u00a0g to 420\u00a0g" in page
    assert "contents left; “<bdi>wet</bdi>”" in page
    assert 'name="capacity" type="text" value="30"' in page


def test_sent_twice_counts_once(client: TestClient, sort: SortInfo) -> None:
    form = _form()
    _weigh(client, sort, form)
    assert _weigh(client, sort, form).status_code == 303
    assert len(_weighings(client, sort)) == 1


@pytest.mark.parametrize(
    ("changes", "message", "kept"),
    [
        ({"gross": "0.5"}, "the tare is above the gross weight", 'value="0.5"'),
        ({"gross": "0.80"}, "the net weight is 0", 'value="0.80"'),
        ({"gross": "40", "capacity": "30"}, "over the scale&#39;s capacity", 'value="40"'),
        ({"gross": "1,250"}, "can be read in two ways", 'value="1,250"'),
        ({"gross": "-1"}, "zero the scale", 'value="-1"'),
        ({"gross": ""}, "There is no gross weight", 'value="0.80"'),
        ({"resolution": "0"}, "must be above 0", 'value="1.20"'),
        ({"method": "difference", "tare": ""}, "needs two readings", 'value="1.20"'),
        ({"pile": ""}, "No pile is chosen", 'value="1.20"'),
    ],
)
def test_impossible_weighing_is_refused_and_kept_in_the_form(
    client: TestClient, sort: SortInfo, changes: dict[str, str], message: str, kept: str
) -> None:
    form = _form(**changes)
    answer = _weigh(client, sort, form)
    assert answer.status_code == 422
    assert message in answer.text
    assert "What you typed is still in the form" in answer.text
    assert kept in answer.text
    assert form["weighing_id"] in answer.text
    assert _weighings(client, sort) == []


@pytest.mark.parametrize("name", ["gross", "tare"])
def test_a_reading_below_0_is_marked_where_it_stands(
    client: TestClient, sort: SortInfo, name: str
) -> None:
    page = _weigh(client, sort, _form(**{name: "-3"})).text
    (field,) = re.findall(rf'<input id="f-{name}"[^>]*>', page)
    assert 'aria-invalid="true"' in field
    assert page.count('aria-invalid="true"') == 1


def _options(client: TestClient, sort: SortInfo) -> dict[str, list[str]]:
    """Return the groups of the pile list, each with its options; the first has no group."""
    page = client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    (choice,) = re.findall(r'<select id="f-pile".*?</select>', page, re.S)
    assert "selected" not in choice
    groups = re.findall(r'<optgroup label="(.*?)"[^>]*>(.*?)</optgroup>', choice, re.S)
    return {name: re.findall(r"<option.*?>(.*?)</option>", inside) for name, inside in groups}


def test_no_pile_is_chosen_beforehand_and_those_left_to_weigh_come_first(
    client: TestClient, sort: SortInfo
) -> None:
    for category in ("steel_cans", "food"):
        item = {"item_id": new_id(), "category": category, "count": 2}
        assert client.post(f"/api/sorts/{sort.id}/items", json=item).status_code == 201
    before = _options(client, sort)
    assert list(before) == ["Not weighed yet", "Nothing counted"]
    assert before["Not weighed yet"] == ["Steel cans (2 counted)", "Food (2 counted)"]
    first = _form()
    page = client.get(_weigh(client, sort, first).headers["location"], headers=HTML).text
    assert "Steel cans, 400\u00a0g net. One more to weigh." in page
    assert "Read the report" not in page
    after = _options(client, sort)
    assert after["Not weighed yet"] == ["Food (2 counted)"]
    assert after["Weighed already"] == ["Steel cans (2 counted)"]
    light = _form(pile="category:food", method="below_resolution")
    page = client.get(_weigh(client, sort, light).headers["location"], headers=HTML).text
    assert "Food, too light for the scale. Everything that was counted is weighed." in page
    assert "Read the report" in page
    path = f"/sorts/{sort.id}/weighings/{first['weighing_id']}/void"
    client.post(path, data={"void_id": new_id(), "reason": "wrong bucket"}, headers=HTML)
    assert _options(client, sort)["Not weighed yet"] == ["Steel cans (2 counted)"]


def test_batches_are_left_to_weigh_one_by_one(client: TestClient, sort: SortInfo) -> None:
    _weigh(client, sort, _form())
    batch = {"batch_id": new_id(), "category": "steel_cans", "label": "bucket 2"}
    client.post(f"/sorts/{sort.id}/batches", data=batch, headers=HTML)
    options = _options(client, sort)
    assert options["Not weighed yet"] == ["Steel cans: bucket 2 (0 counted)"]
    assert options["Weighed already"] == ["Steel cans: Part 1 (0 counted)"]


def test_weighing_of_elsewhere_in_the_address_says_nothing_of_it(
    client: TestClient, sort: SortInfo
) -> None:
    page = client.get(f"/sorts/{sort.id}/piles?weighed={new_id()}", headers=HTML).text
    assert "weighing is recorded" not in page


def test_too_light_ignores_what_stands_in_hidden_fields(client: TestClient, sort: SortInfo) -> None:
    _weigh(client, sort, _form(method="below_resolution"))
    (weighing,) = _weighings(client, sort)
    assert (weighing["method"], weighing["gross"]) == ("below_resolution", None)
    page = client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    assert "under 20\u00a0g" in page


def test_tare_from_the_list_keeps_its_own_unit(client: TestClient, sort: SortInfo) -> None:
    tare_id = _tare(client, sort)
    _weigh(client, sort, _form(tare="", tare_from=tare_id))
    (weighing,) = _weighings(client, sort)
    assert (weighing["tare"], weighing["tare_unit"]) == ("28.2", "oz")
    assert weighing["tare_resolution"] == "0.1"


def test_typed_tare_wins_over_the_list(client: TestClient, sort: SortInfo) -> None:
    tare_id = _tare(client, sort)
    _weigh(client, sort, _form(tare_from=tare_id))
    assert _weighings(client, sort)[0]["tare_unit"] is None


def test_tare_that_is_gone_is_told(client: TestClient, sort: SortInfo) -> None:
    answer = _weigh(client, sort, _form(tare="", tare_from=new_id()))
    assert answer.status_code == 404
    assert "tare" in answer.text


def _choice(page: str) -> str:
    """Return the choice between the same again and a further bucketful."""
    (choice,) = re.findall(r"<fieldset data-again.*?</fieldset>", page, re.S)
    return str(choice)


def test_a_pile_that_is_weighed_is_not_weighed_again_without_saying_what_is_on_the_scale(
    client: TestClient, sort: SortInfo
) -> None:
    """Without a script too: refused with the choice in sight, nothing of it chosen beforehand."""
    page = client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    assert "hidden disabled" in _choice(page)
    _weigh(client, sort, _form())
    again = _form(gross="1.60")
    answer = _weigh(client, sort, again)
    assert answer.status_code == 409
    assert "This pile is weighed already: say whether the same is on the scale" in answer.text
    choice = _choice(answer.text)
    assert "hidden" not in choice
    assert "checked" not in choice
    assert 'value="1" required' in choice
    assert again["weighing_id"] in answer.text
    assert 'value="1.60"' in answer.text
    assert len(_weighings(client, sort)) == 1
    refused = _weigh(client, sort, {**again, "load": "further", "gross": "0.1"})
    assert 'value="further" required checked' in _choice(refused.text)
    assert _weigh(client, sort, {**again, "load": "further"}).status_code == 303


def test_a_further_bucketful_is_added(client: TestClient, sort: SortInfo) -> None:
    _weigh(client, sort, _form())
    answer = _weigh(client, sort, _form(gross="1.60", load="further"))
    page = client.get(answer.headers["location"], headers=HTML).text
    assert (
        "Steel cans, 800\u00a0g net. 2 bucketfuls of this pile are added, 1.200\u00a0kg togeth"
        in page
    )
    assert "Steel cans, bucketful 1" in page
    assert "Steel cans, bucketful 2" in page
    assert "Bucketfuls added" in page
    assert "1.160\u00a0kg to 1.240\u00a0kg" in page
    assert "Mean of these" not in page
    assert 'data-load="2"' in page
    answer = _weigh(client, sort, _form(gross="1.62", load="2"))
    page = client.get(answer.headers["location"], headers=HTML).text
    assert (
        "Bucketful 2 is weighed 2 times now, and the mean counts, 810\u00a0g. 2 bucketfuls" in page
    )
    assert "Mean of these" in page
    assert [each["load"] for each in _weighings(client, sort)] == [1, 2, 2]
    page = _weigh(client, sort, _form(load="")).text
    assert "<span data-which>Bucketful 2</span> again, as a check" in page


def test_light_loads_are_added_too(client: TestClient, sort: SortInfo) -> None:
    light = {"method": "below_resolution"}
    _weigh(client, sort, _form(**light))
    answer = _weigh(client, sort, _form(**light, load="further"))
    page = client.get(answer.headers["location"], headers=HTML).text
    assert "2 bucketfuls of this pile are added. " in page
    assert "under 40\u00a0g" in page


def test_a_load_that_is_none_is_refused(client: TestClient, sort: SortInfo) -> None:
    answer = _weigh(client, sort, _form(load="next"))
    assert answer.status_code == 422
    assert "is not a whole number" in answer.text
    assert _weigh(client, sort, _form(load="7")).status_code == 409
    assert _weighings(client, sort) == []


def test_several_weighings_show_their_mean_and_spread(client: TestClient, sort: SortInfo) -> None:
    _weigh(client, sort, _form())
    answer = _weigh(client, sort, _form(gross="1.60", load="1"))
    page = client.get(answer.headers["location"], headers=HTML).text
    assert "It is weighed 2 times now, and the mean counts, 600\u00a0g." in page
    assert "added" not in page.split('role="status">')[1].split("</p>")[0]
    assert "Mean of these" in page
    assert "600\u00a0g" in page
    assert "more than the scale explains" in page


def test_two_batches_are_named_and_summed(client: TestClient, sort: SortInfo) -> None:
    _weigh(client, sort, _form())
    answer = client.post(
        f"/sorts/{sort.id}/batches",
        data={"batch_id": new_id(), "category": "steel_cans", "label": "bucket 2"},
        headers=HTML,
        follow_redirects=False,
    )
    page = client.get(answer.headers["location"], headers=HTML).text
    chosen = answer.headers["location"].split("pile=")[1]
    assert f'value="{chosen}" selected' in page
    _weigh(client, sort, _form(pile=chosen, gross="1.00"))
    page = client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    assert "Steel cans: Part 1" in page
    assert "Steel cans: bucket 2" in page
    assert "together" in page
    assert "600\u00a0g" in page


def test_void_needs_a_reason(client: TestClient, sort: SortInfo) -> None:
    _weigh(client, sort, _form())
    (weighing,) = _weighings(client, sort)
    path = f"/sorts/{sort.id}/weighings/{weighing['id']}/void"
    refused = client.post(path, data={"void_id": new_id(), "reason": " "}, headers=HTML)
    assert refused.status_code == 422
    assert "Reason is empty" in refused.text
    done = client.post(path, data={"void_id": new_id(), "reason": "wrong bucket"}, headers=HTML)
    assert done.status_code == 200
    assert "wrong bucket" in done.text
    assert 'class="void"' in done.text
    assert client.get(f"/api/sorts/{sort.id}/piles").json()["piles"][0]["mass"] is None


def test_refused_tare_keeps_what_was_typed(client: TestClient, sort: SortInfo) -> None:
    form = {
        "tare_id": new_id(),
        "name": "Tub",
        "weight": "heavy",
        "unit": "kg",
        "resolution": "0.02",
    }
    answer = client.post(f"/sorts/{sort.id}/tares", data=form, headers=HTML)
    assert answer.status_code == 422
    assert "is not a plain number" in answer.text
    assert 'value="Tub"' in answer.text
    assert 'value="heavy"' in answer.text
