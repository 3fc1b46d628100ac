"""The report of a study in the browser: public page, annex, plan in the form, files."""

from __future__ import annotations

import io
import re
import zipfile
from collections import Counter
from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.study.plan import StudyPlan
from service.cli.demo_study import PLAN
from service.learning.usecases import set_learning
from service.services import Services
from service.sorts.studies import create_study, place_sort
from service.studies.usecases import report_of_sorts
from service.studies.view import in_sentence
from tests.fakes import FakePredictor, new_id
from tests.store.entries import enter, start, take, weigh
from tests.web.markup import read_markup

STRATA = ("flats / spring", "houses / spring", "flats / autumn", "houses / autumn")
MASSES = {"corrugated_cardboard": 900, "food": 2500, "plastic_film": 300}


@pytest.fixture
def study(services: Services) -> str:
    """Return a study of eight sorts in four strata."""
    study_id = new_id()
    create_study(services, study_id=study_id, name="Two areas, two seasons")
    for number in range(8):
        sort = start(
            services, name=f"House {number}", place=f"Mill Lane {number}",
            stratum=STRATA[number % 4], sorted_on=date(2026, 4, 1 + number),
        )  # fmt: skip
        place_sort(services, sort_id=sort.id, study_id=study_id, change_id=new_id())
        for place, (category, grams) in enumerate(MASSES.items()):
            enter(services, sort, category, count=3)
            reading = str(grams + 40 * number * (place - 1) + 340)
            weigh(services, sort, category, gross=reading, tare="340", unit="g", resolution="1")
    return study_id


def plan(**given: Any) -> dict[str, Any]:
    return {
        "parts": "area, season",
        "strata": "area, season",
        "compare": "season",
        "weights": "\n".join(f"{label} = {k + 1}" for k, label in enumerate(STRATA)),
        "total": "1200",
        "standard_error": "30",
        "unit": "t a year",
        "what_if": "plastic_film",
        "national": "generated",
        **given,
    }


def test_the_public_page_is_plain_and_has_two_charts(client: TestClient, study: str) -> None:
    page = client.get(f"/studies/{study}/report", params=plan())
    assert page.status_code == 200
    assert page.text.count('<figure class="sheet chart"') == 2
    assert "likely lies between" in page.text
    assert "What differs" in page.text
    assert "If the local rules also accepted plastic film" in page.text
    assert "Follow your local authority where it differs" in page.text
    # What a town reads names no household.
    assert "Mill Lane" not in page.text


def test_what_every_reader_needs_stands_on_the_public_page(
    client: TestClient, services: Services
) -> None:
    """Two weighed sorts, one of flats: most of the weight is in a stratum of one sort."""
    study_id = new_id()
    create_study(services, study_id=study_id, name="Half done")
    for number, stratum in enumerate(("houses", "houses", "gardens", "gardens", "flats")):
        sort = start(services, name=f"House {number}", place=f"Mill {number}", stratum=stratum)
        place_sort(services, sort_id=sort.id, study_id=study_id, change_id=new_id())
        for category, grams in (("food", 500 + 90 * number), ("paperboard", 900 - 70 * number)):
            enter(services, sort, category, count=1)
            weigh(services, sort, category, gross=str(grams), unit="g", resolution="1")
        enter(services, sort, "textiles", count=2)
    weights = "houses = 1\ngardens = 1\nflats = 8"
    page = client.get(f"/studies/{study_id}/report", params={"weights": weights}).text
    said = page.split("Keep in mind")[1].split("</section>")[0]
    assert "speak for 20 % of the whole only" in said
    assert "5 sorts are still open" in said
    assert "all others too high: Clothing and textiles (in 5 sorts)" in said
    annex = client.get(f"/studies/{study_id}/annex", params={"weights": weights}).text
    measured = annex.split('id="t-measured"')[1].split("</table>")[0]
    textiles = measured.split("Clothing and textiles")[1].split("</tr>")[0]
    assert re.findall(r">([^<]+)</td>", textiles) == ["\u2013", "\u2013", "10", "5"]


def test_no_range_of_a_lay_page_leaves_0_to_100(client: TestClient, services: Services) -> None:
    study_id = new_id()
    create_study(services, study_id=study_id, name="Three lots")
    for number, grams in enumerate((5, 5, 900)):
        sort = start(services, name=f"House {number}", place=f"Mill {number}")
        place_sort(services, sort_id=sort.id, study_id=study_id, change_id=new_id())
        for category, mass in (("food", 2000), ("paperboard", grams)):
            enter(services, sort, category, count=1)
            weigh(services, sort, category, gross=str(mass), unit="g", resolution="1")
    page = client.get(f"/studies/{study_id}/report").text
    assert "to 100\u00a0%)" in page
    assert "(likely 0 to" in page
    assert "100.0\u00a0% (about" in page  # the sentence on food
    assert "likely -" not in page
    annex = client.get(f"/studies/{study_id}/annex").text
    assert re.search(r"-\d+\.\d\d to \d", annex)  # where those who check find them as they are


def test_the_annex_names_method_n_and_assumptions(client: TestClient, study: str) -> None:
    page = client.get(f"/studies/{study}/annex", params=plan(total="1234567.5"))
    assert page.status_code == 200
    for words in (
        "Mean of shares", "Ratio of sums", "bootstrap", "Scale bounds", "ASTM D5231",
        "Sorts are independent and random", "flats / spring", "p, adjusted",
        "Scaled to 1\u00a0234\u00a0567.5 ± 30 t a year", "Beside national figures: generated",
        "Where intervals are narrower than they say", "2,000 invented studies",
    ):  # fmt: skip
        assert words in page.text, words
    assert "share_of_landfilled" not in page.text
    assert "Mill Lane" not in page.text


def test_measured_and_estimated_stand_in_tables_of_their_own(
    client: TestClient, study: str
) -> None:
    page = client.get(f"/studies/{study}/annex").text
    measured = page.split('id="t-measured"')[1].split("</section>")[0]
    assert "measured</span>" in measured
    assert "Everything" in measured
    assert "estimated" not in measured
    for ident in ("by-category", "by-group", "person"):
        section = page.split(f'id="t-{ident}"')[1].split("</section>")[0]
        assert "estimated</span>" in section


def test_the_form_keeps_what_was_typed_and_says_what_is_wrong(
    client: TestClient, study: str
) -> None:
    for wrong, said in (
        ({"level": "95x"}, "95x"),
        ({"level": "5"}, "50 to 99.9 per cent"),
        ({"level": "nan"}, "50 to 99.9 per cent"),
        ({"what_if": "gold"}, "no category &#39;gold&#39;"),
        ({"total": ""}, "A standard error is given and no total"),
        ({"weights": "flats"}, "stratum = size"),
        ({"compare": "tide"}, "tide"),
        ({"plan": "level ="}, "TOML"),
    ):
        page = client.get(f"/studies/{study}/report", params=plan(**wrong))
        assert page.status_code == 422
        assert "Not used." in page.text
        assert said in page.text
        assert f'value="{wrong.get("total", "1200")}"' in page.text
        assert '/package.zip" download' in page.text  # a file of the refused plan is none
        assert client.get(f"/studies/{study}/package.zip").status_code == 200


def test_what_if_takes_names_as_the_guide_has_them(client: TestClient, study: str) -> None:
    typed = "Plastic film, Other rigid plastics (tubs, trays, cups), hdpe bottles, wood"
    reply = client.get(f"/studies/{study}/report.json", params=plan(what_if=typed)).json()
    assert reply["plan"]["what_if"] == ["plastic_film", "rigid_plastics", "hdpe_bottles", "wood"]


def test_taking_what_is_taken_already_brings_nothing(client: TestClient, study: str) -> None:
    page = client.get(f"/studies/{study}/report", params=plan(what_if="food")).text
    assert "No more could be recovered if the local rules also accepted food" in page
    assert "would really bring is less" not in page
    more = client.get(f"/studies/{study}/report", params=plan(what_if="plastic_film")).text
    assert "would really bring is less" in more


@pytest.mark.parametrize(("lots", "warned"), [(2, True), (4, True), (5, False)])
def test_ranges_of_fewer_lots_than_they_were_tried_with_are_warned_of(
    client: TestClient, services: Services, lots: int, warned: bool
) -> None:
    study_id = new_id()
    create_study(services, study_id=study_id, name="Few lots")
    for number in range(lots):
        sort = start(services, name=f"Sort {number}", place=f"House {number}")
        place_sort(services, sort_id=sort.id, study_id=study_id, change_id=new_id())
        for category, grams in (("food", 900 + number), ("plastic_film", 300)):
            weigh(services, sort, category, gross=str(grams), unit="g", resolution="1")
    for name in ("report", "annex"):
        page = client.get(f"/studies/{study_id}/{name}").text
        assert (f"Only {lots} sorts are behind the estimates" in page) is warned


def test_a_name_of_capitals_keeps_them_in_a_sentence() -> None:
    assert in_sentence("PET bottles and jars") == "PET bottles and jars"
    assert in_sentence("Plastic film") == "plastic film"


def test_persons_of_the_strata_can_be_typed(client: TestClient, study: str) -> None:
    lacking = client.get(f"/studies/{study}/report", params=plan()).text
    assert "Amounts per person take all sorts as one random sample" in lacking
    persons = "\n".join(f"{label} = {100 * (k + 1)}" for k, label in enumerate(STRATA)) + "\n \n"
    reply = client.get(
        f"/studies/{study}/report.json", params=plan(person_weights=persons)
    ).json()  # fmt: skip
    assert reply["plan"]["person_weights"]["houses / autumn"] == 400
    page = client.get(f"/studies/{study}/report", params=plan(person_weights=persons)).text
    assert "Amounts per person take all sorts" not in page
    assert "flats / spring = 100" in page


def test_containers_of_a_household_can_be_joined_in_the_form(
    client: TestClient, services: Services
) -> None:
    study_id = new_id()
    create_study(services, study_id=study_id, name="Two containers")
    for number in range(6):
        sort = start(services, name=f"Sort {number}", place=f"Mill Lane {number // 2}",
                     stratum=("recycling", "refuse")[number % 2])  # fmt: skip
        place_sort(services, sort_id=sort.id, study_id=study_id, change_id=new_id())
        for category in ("corrugated_cardboard", "food"):
            enter(services, sort, category, count=1)
            grams = str(900 + 50 * number)
            weigh(services, sort, category, gross=grams, unit="g", resolution="1")
    apart = client.get(f"/studies/{study_id}/report").text
    assert "amounts per person come out too low" in apart
    joined = client.get(
        f"/studies/{study_id}/report", params={"containers": "stratum", "strata": "year"}
    ).text  # fmt: skip
    assert "amounts per person come out too low" not in joined
    assert "Of the recyclables, in the recycling container" in joined
    assert 'value="stratum"' in joined
    params = {"containers": "stratum", "strata": "year"}
    assert ">In households</th>" in client.get(f"/studies/{study_id}/annex", params=params).text
    assert ">In sorts</th>" in client.get(f"/studies/{study_id}/annex").text


def test_strata_stand_in_tables_that_fit_on_paper(client: TestClient, services: Services) -> None:
    """Four a table, and the same rows in the same order in each."""
    study_id = new_id()
    create_study(services, study_id=study_id, name="Six streets")
    for number in range(12):
        sort = start(services, name=f"Sort {number}", place=f"House {number}",
                     stratum=f"street {number % 6}")  # fmt: skip
        place_sort(services, sort_id=sort.id, study_id=study_id, change_id=new_id())
        for place, category in enumerate(("corrugated_cardboard", "food", "plastic_film")):
            grams = str(900 + 500 * ((number + place) % 5))
            weigh(services, sort, category, gross=grams, unit="g", resolution="1")
    page = client.get(f"/studies/{study_id}/annex").text
    first, second = (
        page.split(f'id="t-strata-category-{number}"')[1].split("</section>")[0]
        for number in (1, 2)
    )
    assert re.findall(r'class="n">(street \d)</th>', first) == [f"street {n}" for n in range(4)]
    assert re.findall(r'class="n">(street \d)</th>', second) == ["street 4", "street 5"]
    rows = [re.findall(r'scope="row">([^<&]+)', block) for block in (first, second)]
    assert rows[0] == rows[1]
    assert len(rows[0]) == 3


def test_a_whole_plan_goes_before_the_fields(client: TestClient, study: str) -> None:
    page = client.get(f"/studies/{study}/annex", params={"plan": 'title = "Renamed"', "level": "x"})
    assert page.status_code == 200
    assert "Technical annex: Renamed" in page.text


def test_json_and_package_hold_the_figures_of_the_page(client: TestClient, study: str) -> None:
    reply = client.get(f"/studies/{study}/report.json", params=plan(level="95")).json()
    assert reply["plan"]["level"] == 0.95
    assert {each["basis"] for each in reply["figures"]} >= {"measured", "counted", "estimated"}
    packed = client.get(f"/studies/{study}/package.zip", params=plan())
    assert packed.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(packed.content)) as archive:
        assert "datapackage.json" in archive.namelist()


@pytest.mark.parametrize("name", ["report", "annex"])
def test_pages_read_well_aloud(client: TestClient, study: str, name: str) -> None:
    markup = read_markup(client.get(f"/studies/{study}/{name}", params=plan()).text)
    assert markup.unlabelled() == []
    assert markup.nameless() == []
    assert markup.faults == []
    assert [each for each, times in Counter(markup.ids).items() if times > 1] == []
    assert markup.headings.count(1) == 1
    for before, after in pairwise(markup.headings):
        assert after <= before + 1, markup.headings
    assert {"main", "header", "nav", "footer"} <= markup.landmarks


def test_an_empty_study_and_an_unknown_one(client: TestClient, services: Services) -> None:
    study_id = new_id()
    create_study(services, study_id=study_id, name="Nothing yet")
    for name in ("report", "annex"):
        page = client.get(f"/studies/{study_id}/{name}")
        assert page.status_code == 200
        assert client.get(f"/studies/{new_id()}/{name}").status_code == 404
    for heading in ("Methods and sources", "What must hold", "differences in percentage points"):
        assert heading not in page.text  # no heading over nothing
    assert client.get(f"/studies/{study_id}/package.zip").status_code == 200


def test_the_study_links_to_its_report(client: TestClient, study: str) -> None:
    assert f"/studies/{study}/report" in client.get(f"/studies/{study}").text


def test_the_plan_of_the_invented_study_fits_the_form(client: TestClient, study: str) -> None:
    page = client.get(f"/studies/{study}/report", params={"plan": PLAN})
    assert page.status_code == 200


def test_photographs_judged_blind_correct_the_counts(
    client: TestClient, services: Services, predictor: FakePredictor
) -> None:
    """Four in five cans are cans; all photographs are audits, so the truth is known exactly."""
    study_id = new_id()
    create_study(services, study_id=study_id, name="Photographed")
    sort = start(services, name="One")
    place_sort(services, sort_id=sort.id, study_id=study_id, change_id=new_id())
    set_learning(services, scope_id=study_id, change_id=new_id(), learns=False, audit_percent=100)
    for number in range(10):
        predictor.forms = (("drink_can", 0.9), ("food", 0.1))
        photo = take(services, sort, shade=40 + number)
        category = "steel_cans" if number % 5 == 4 else "aluminium_cans"
        enter(services, sort, category, capture_id=photo.id)
    take(services, sort, shade=200)  # nobody said what it is: it is no photographed item
    report = report_of_sorts(services, [sort.id, sort.id.upper()], StudyPlan(), name="x")
    counts = {f.about.id: f.value for f in report.select("photographed_items_corrected")}
    assert counts == pytest.approx({"aluminium_cans": 8, "steel_cans": 2})
    called = {f.about.id: f.value for f in report.select("photographed_items_as_called")}
    assert called == {"aluminium_cans": 10}
    page = client.get(f"/studies/{study_id}/annex").text
    audits = page.split('id="t-audits"')[1].split("</section>")[0]
    assert '<td class="n" data-col="Corrected">8.00</td>' in audits
    assert '<td class="n" data-col="As the network called them">10</td>' in audits
