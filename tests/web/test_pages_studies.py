"""The pages of studies and of learning: what they say in each state, and their forms."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.learning import usecases as learning
from service.learning.curve import curve_chart, curves, milestones
from service.services import Services
from service.sorts import studies
from tests.fakes import FakePredictor, new_id
from tests.store.entries import enter, take
from tests.web.markup import read_markup

FOAM = "foam_polystyrene"
HTML = {"accept": "text/html"}


def text(client: TestClient, address: str, status: int = 200) -> str:
    """Return a page's words, spaces made single."""
    answer = client.get(address, headers=HTML)
    assert answer.status_code == status, answer.text
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", answer.text.split("<main")[1]))


def send(client: TestClient, address: str, **typed: str) -> str:
    """Send a form and return where it leads."""
    answer = client.post(address, data=typed, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def teach(services: Services, sort: SortInfo, times: int) -> None:
    for _ in range(times):
        enter(services, sort, FOAM, capture_id=take(services, sort).id)
        services.learning.settle()


def new_sort(**typed: str) -> dict[str, str]:
    return {
        "sort_id": new_id(),
        "name": "Bag",
        "sorted_on": "2026-05-01",
        "days": "7",
        "persons": "2",
        "programme_id": "alder_valley",
        **typed,
    }


def test_a_study_is_started_from_its_page_and_from_a_new_sort(client: TestClient) -> None:
    assert "No study yet" in text(client, "/studies")
    home = send(client, "/studies", study_id=new_id(), name="Spring")
    assert "Spring" in text(client, home)
    sort_page = send(client, "/sorts", **new_sort(study=home.rsplit("/", 1)[1]))
    assert "Bag" in text(client, home)
    typed = new_sort(study="new", study_id=new_id(), study_name="Autumn")
    send(client, "/sorts", **typed)
    assert "Autumn" in text(client, "/studies")
    assert "learns with its study" in text(client, f"{sort_page}/learning")
    send(client, "/sorts", **new_sort(study=""))
    assert len(client.get("/api/studies").json()) == 2


def test_a_refused_study_keeps_what_was_typed(client: TestClient) -> None:
    answer = client.post("/studies", data={"study_id": new_id(), "name": " "})
    assert answer.status_code == 422
    assert "Not recorded." in answer.text
    typed = new_sort(study="new", study_id=new_id(), study_name="", name="My bag")
    answer = client.post("/sorts", data=typed)
    assert answer.status_code == 422
    assert 'value="My bag"' in answer.text
    assert '<option value="new" selected>' in answer.text


def test_a_sort_goes_in_and_out_of_a_study(client: TestClient, sort: SortInfo) -> None:
    home = send(client, "/studies", study_id=new_id(), name="Spring")
    send(client, f"{home}/sorts", change_id=new_id(), sort_id=sort.id)
    assert [each["id"] for each in client.get("/api" + home).json()["sorts"]] == [sort.id]
    study_id = home.rsplit("/", 1)[1]
    back = send(client, f"/sorts/{sort.id}/study", change_id=new_id(), from_study=study_id)
    assert back == home
    assert client.get("/api" + home).json()["sorts"] == []
    back = send(client, f"/sorts/{sort.id}/study", change_id=new_id(), study_id=study_id)
    assert back == f"/sorts/{sort.id}/learning"


def test_imported_pictures_are_put_in_to_teach(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    imported = replace(sort, id=new_id(), name="Pictures of the museum")
    services.log.add_example_set(
        imported, set_id=new_id(), source="a folder", programme_version="1", sent={"a": 1}
    )
    home = send(client, "/studies", study_id=new_id(), name="Spring")
    assert 'label="Imported pictures, only to learn from"' in client.get(home).text
    send(client, f"{home}/sorts", change_id=new_id(), sort_id=imported.id)
    shown = text(client, home)
    assert "Imported pictures used for learning here Pictures of the museum" in shown
    assert client.get("/api" + home).json()["sorts"] == []


def test_the_page_says_how_learning_stands(
    client: TestClient, services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    address = f"/sorts/{sort.id}/learning"
    assert "Nothing learned yet." in text(client, address)
    assert "Not known yet. There was no blind check in this sort" in text(client, address)
    teach(services, sort, 2)
    assert "The curves appear after five confirmed photos." in text(client, address)
    teach(services, sort, 12)
    shown = text(client, address)
    assert "On. Each suggestion also uses what was confirmed here" in shown
    assert "original model" in shown
    predictor.forms = (("corrugated_cardboard", 1.0),)
    while learning.learning_state(services, sort.id).trusted:
        enter(services, sort, "corrugated_cardboard", capture_id=take(services, sort).id)
        services.learning.settle()
    assert "The original model answers." in text(client, address)
    send(client, f"/learning/{sort.id}/settings", change_id=new_id(), audit_percent="5")
    assert "Off. Only the original model answers." in text(client, address)
    assert client.get(f"/api/learning/{sort.id}").json()["audit_percent"] == 5


def test_what_does_not_learn_does_not_catch_up(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    teach(services, sort, 2)
    address = f"/sorts/{sort.id}/learning"
    text(client, address)
    send(client, f"/learning/{sort.id}/settings", change_id=new_id(), audit_percent="5")
    enter(services, sort, "corrugated_cardboard", capture_id=take(services, sort).id)
    assert "catching up" not in text(client, address)


@pytest.mark.parametrize("percent", ["", "ten", "101", "-1", "1.5"])
def test_a_share_of_audits_that_is_none_is_refused(
    client: TestClient, sort: SortInfo, percent: str
) -> None:
    sent = {"change_id": new_id(), "audit_percent": percent}
    answer = client.post(f"/learning/{sort.id}/settings", data=sent)
    assert answer.status_code == 422
    assert "Not recorded." in answer.text


def test_accuracy_comes_with_its_audits_and_interval(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    study = studies.create_study(services, study_id=new_id(), name="Spring")
    studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=new_id())
    learning.set_learning(
        services, scope_id=study.id, change_id=new_id(), learns=False, audit_percent=100
    )
    for category in ("corrugated_cardboard", "corrugated_cardboard", FOAM, "corrugated_cardboard"):
        enter(services, sort, category, capture_id=take(services, sort).id)
    shown = text(client, f"/studies/{study.id}").replace("\u00a0", " ")
    assert "75.0 % in 4 blind checks" in shown
    assert "own choice 3 times" in shown
    assert "95 % interval 30.1 % to 95.4 %" in shown


def test_a_head_is_saved_and_started_from(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    teach(services, sort, 3)
    file = client.get(f"/learning/{sort.id}/head")
    home = send(client, "/studies", study_id=new_id(), name="Spring")
    study_id = home.rsplit("/", 1)[1]
    start = f"/learning/{study_id}/start"
    answer = client.post(
        start,
        data={"start_id": new_id()},
        files={"head": ("north.npz", file.content)},
        follow_redirects=False,
    )
    assert (answer.status_code, answer.headers["location"]) == (303, home)
    assert "Started fromnorth.npz" in text(client, home).replace("> ", "")
    assert send(client, start, start_id=new_id(), from_scope=sort.id) == home
    assert sort.name in text(client, home)
    assert send(client, start, start_id=new_id(), shipped="yes") == home
    assert "the original model" in text(client, home)
    for files in ({"head": ("x.npz", b"nonsense")}, {"head": ("", b"")}):
        answer = client.post(start, data={"start_id": new_id()}, files=files)
        assert answer.status_code == 422
        assert "Not recorded." in answer.text


@pytest.mark.parametrize("kind", ["studies", "study", "sort", "sort in a study"])
def test_the_markup_is_sound(
    client: TestClient, services: Services, sort: SortInfo, kind: str
) -> None:
    study = studies.create_study(services, study_id=new_id(), name="Spring <b>")
    if kind != "sort":
        studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=new_id())
    teach(services, sort, 6)
    address = {"studies": "/studies", "study": f"/studies/{study.id}"}.get(
        kind, f"/sorts/{sort.id}/learning"
    )
    found = read_markup(client.get(address, headers=HTML).text)
    assert found.unlabelled() == []
    assert found.nameless() == []
    assert found.faults == []
    assert len(found.ids) == len(set(found.ids))
    assert found.headings[0] == 1
    assert all(b - a <= 1 for a, b in zip(found.headings, found.headings[1:], strict=False))


def test_curves_are_thinned_and_end_at_the_last_photo() -> None:
    shipped = [2.0] * 1000
    learned = [2.0 - i / 1000 for i in range(1000)]
    found = curves(shipped, learned)
    assert len(found.at) <= 241
    assert found.at[-1] == 1000
    assert found.shipped[-1] == 2.0
    assert found.learned[-1] == pytest.approx(2.0 - (950 + 999) / 2 / 1000)
    counts = [count for count, _, _ in milestones(found)]
    assert counts[-1] == 1000
    assert counts == sorted(set(counts))
    assert milestones(curves([], [])) == []


@pytest.mark.parametrize("losses", [([1.0], [1.0]), ([2.0, 0.1, 9.0], [2.0, 0.5, 0.0])])
def test_the_chart_is_sound_and_said_in_words(losses: tuple[list[float], list[float]]) -> None:
    drawn = ET.fromstring(str(curve_chart(curves(*losses))))
    words = drawn.attrib["aria-label"]
    assert f"After {len(losses[0])} confirmed photos" in words
    for name in ("original model", "with learning"):
        assert name in words
        assert name in " ".join(drawn.itertext())
    *_, shipped, learned = (each.attrib["d"] for each in drawn.findall("svg/path"))
    for path in (shipped, learned):
        places = [float(each) for each in re.findall(r"-?[0-9.]+(?![0-9.]*$)", path)]
        assert all(0 <= each <= 100 for each in places)


def test_the_line_halfway_up_the_chart_bears_its_own_height() -> None:
    drawn = ET.fromstring(str(curve_chart(curves([1.2], [1.2]))))
    scale = drawn.find("div[@class='scale']")
    assert scale is not None
    assert [each.text for each in scale] == ["1.5", "0.75", "0"]
