"""Field sheets on the pages: print, template, look at a filled one, record it, once."""

from __future__ import annotations

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.errors import ClosedSortError, InvalidEntryError
from classifier.log.records import SortInfo
from classifier.sheet.lines import BUCKET_LENGTH, NOTE_LENGTH
from service import entries
from service.piles.usecases import piles, start_batch
from service.services import Services
from service.sheets.usecases import SheetImport, SheetPreview, import_sheet, preview_sheet
from service.sorting import items
from service.sorts.usecases import close_sort
from tests.fakes import new_id
from tests.store.entries import enter, weigh

HTML = {"accept": "text/html"}
HEAD = "category,count,gross,tare,unit,resolution,method,bucket,contents_left,note\n"
SHEET = (
    HEAD
    + "Steel cans,12,1.250,0.25,kg,0.01,,blue tub,,wet\n"
    + "Food,,2.40,,kg,0.02,,,,\n"
    + "PET bottles and jars,7,,,,,,,,\n"
    + "Plastic film,3,,,g,1,too light,,,\n"
    + "Paperboard,,,,,,,,,\n"
)


def preview(services: Services, sort: SortInfo, text: str, **more: Any) -> SheetPreview:
    return preview_sheet(services, sort_id=sort.id, data=text.encode(), **more)


def record(services: Services, sort: SortInfo, text: str, **more: Any) -> SheetImport:
    return import_sheet(services, sort_id=sort.id, data=text.encode(), sorter="Ada", **more)


def rows(services: Services, sort: SortInfo) -> tuple[int, int, int]:
    found = services.log.sort_rows(sort.id)
    return len(found.items), len(found.weighings), len(found.batches)


def test_a_sheet_goes_through_the_same_steps_as_the_pages(
    services: Services, sort: SortInfo
) -> None:
    done = record(services, sort, SHEET)
    assert (done.recorded, done.before, done.problems) == (4, 0, ())
    found = services.log.sort_rows(sort.id)
    items = {item.category: item for item in found.items}
    assert {name: item.count for name, item in items.items()} == {
        "steel_cans": 12, "pet_bottles": 7, "plastic_film": 3,
    }  # fmt: skip
    assert items["steel_cans"].sorter == "Ada"
    assert items["steel_cans"].route is not None
    by_category = {
        pile.category: batch.weighings[0].weighing
        for pile in piles(services, sort.id).piles
        for batch in pile.batches
        if batch.weighings
    }
    steel = by_category["steel_cans"]
    assert (str(steel.gross), str(steel.tare), str(steel.resolution)) == ("1.250", "0.25", "0.01")
    assert (steel.note, steel.sorter) == ("wet", "Ada")
    assert by_category["plastic_film"].method == "below_resolution"
    assert {batch.label for batch in found.batches} == {"", "blue tub"}


def test_the_same_file_twice_changes_nothing(services: Services, sort: SortInfo) -> None:
    record(services, sort, SHEET)
    before = rows(services, sort)
    again = record(services, sort, SHEET)
    assert (again.recorded, again.before) == (0, 4)
    assert rows(services, sort) == before
    other_ends = record(services, sort, SHEET.replace("\n", "\r\n"))
    assert (other_ends.recorded, rows(services, sort)) == (0, before)


def test_an_interrupted_import_records_nothing_and_the_next_records_all(
    services: Services, sort: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise OSError("power cut")

    with monkeypatch.context() as patch:
        patch.setattr("service.sheets.usecases.weigh", fails)
        with pytest.raises(OSError, match="power cut"):
            record(services, sort, SHEET)
    assert rows(services, sort) == (0, 0, 0)
    longer = SHEET.replace("Paperboard,,", "Steel cans,4,")  # the labels of its lines change
    assert record(services, sort, longer).recorded == 5
    assert rows(services, sort) == (4, 3, 5)


@pytest.mark.parametrize(
    ("old", "new", "before"),
    [
        ("cans,12", "cans,13", "steel_cans, 12 counted, gross 1.250, tare 0.25 kg"),
        ("cans,12", "cans,", "steel_cans, 12 counted"),
        ("1.250,0.25", "1.251,0.25", "gross 1.250"),
        ("2.40,,kg", ",,", "food, gross 2.40, tare 0 kg"),
        ("Food,,2.40", "Paperboard,,2.40", "food, gross 2.40"),
        ("film,3,,,g,1,too light", "film,3,2,,g,1,", "plastic_film, 3 counted, too light"),
    ],
)
def test_a_changed_line_is_a_conflict_that_names_both(
    services: Services, sort: SortInfo, old: str, new: str, before: str
) -> None:
    record(services, sort, SHEET)
    recorded = rows(services, sort)
    found = preview(services, sort, SHEET.replace(old, new))
    problems = [each for each in found.problems if "was imported before as" in each.message]
    assert len(problems) == 1
    assert before in problems[0].message
    assert "another sheet number" in problems[0].message
    with pytest.raises(InvalidEntryError, match="1 lines have problems: nothing was recorded"):
        record(services, sort, SHEET.replace(old, new))
    assert rows(services, sort) == recorded


def test_another_sheet_of_the_sort_has_another_number(services: Services, sort: SortInfo) -> None:
    record(services, sort, SHEET)
    second = record(services, sort, HEAD + "Steel cans,5,,,,,,,,\n", sheet="2")
    assert second.recorded == 1
    assert record(services, sort, HEAD + "Steel cans,5,,,,,,,,\n", sheet=" 2 ").before == 1


def test_a_line_that_was_completed_later_is_recorded(services: Services, sort: SortInfo) -> None:
    record(services, sort, HEAD + "Steel cans,5,,,,,,,,\n")
    done = record(services, sort, HEAD + "Steel cans,5,900,,g,1,,,,\n")
    assert (done.recorded, rows(services, sort)) == (1, (1, 1, 1))


def test_counted_on_the_pages_and_weighed_on_paper(
    services: Services, client: TestClient, sort: SortInfo
) -> None:
    item = {"item_id": new_id(), "category": "steel_cans", "count": 12}
    client.post(f"/api/sorts/{sort.id}/items", json=item)
    text = HEAD + "Steel cans,,900,,g,1,,,,\n"
    (line,) = preview(services, sort, text).lines
    assert line.joins
    record(services, sort, text)
    (pile,) = piles(services, sort.id).piles
    assert (len(pile.batches), pile.batches[0].total.count) == (1, 12)
    assert pile.mass is not None
    assert record(services, sort, text).before == 1
    changed = preview(services, sort, text.replace("900", "901"))
    assert "steel_cans, gross 900" in changed.problems[0].message


def test_a_pile_that_was_weighed_is_not_weighed_again_by_the_sheet(
    services: Services, sort: SortInfo
) -> None:
    """It may be the same reading, or another bucket: it becomes a pile of its own."""
    enter(services, sort, "steel_cans", count=12)
    weigh(services, sort, "steel_cans")
    (line,) = preview(services, sort, HEAD + "Steel cans,,900,,g,1,,,,\n").lines
    assert (line.joins, line.pile) == (False, None)


@pytest.mark.parametrize(
    "text",
    [
        "Steel cans,,900,,g,1,,,,\nSteel cans,,800,,g,1,,,,\n",
        "Steel cans,,900,,g,1,,tub,,\n",
        "Steel cans,3,900,,g,1,,,,\n",
    ],
)
def test_what_may_be_another_bucket_is_a_pile_of_its_own(
    services: Services, client: TestClient, sort: SortInfo, text: str
) -> None:
    item = {"item_id": new_id(), "category": "steel_cans", "count": 12}
    client.post(f"/api/sorts/{sort.id}/items", json=item)
    assert not any(line.joins for line in preview(services, sort, HEAD + text).lines)
    record(services, sort, HEAD + text)
    (pile,) = piles(services, sort.id).piles
    assert len(pile.batches) == 1 + text.count("\n")


def test_a_batch_of_the_lines_id_with_another_category_is_a_conflict(
    services: Services, sort: SortInfo
) -> None:
    record(services, sort, HEAD + "Steel cans,5,,,,,,,,\n")
    (batch,) = services.log.sort_rows(sort.id).batches
    start_batch(services, sort_id=sort.id, batch_id=batch.id, category="steel_cans")
    found = preview(services, sort, HEAD + "Food,,2,,kg,1,,,,\n")
    assert "imported before as steel_cans, 5 counted" in found.problems[0].message


def test_only_good_lines_are_recorded_when_accepted(services: Services, sort: SortInfo) -> None:
    text = SHEET + "spoons,x,,,,,,,,\n"
    with pytest.raises(InvalidEntryError, match="accept only the good lines"):
        record(services, sort, text)
    assert rows(services, sort) == (0, 0, 0)
    done = record(services, sort, text, accept_good=True)
    assert (done.recorded, len(done.problems)) == (4, 2)


def test_nothing_is_recorded_into_a_closed_sort_or_from_an_empty_sheet(
    services: Services, sort: SortInfo
) -> None:
    with pytest.raises(InvalidEntryError, match="holds no line that can be recorded"):
        record(services, sort, HEAD)
    record(services, sort, SHEET)
    close_sort(services, sort.id, event_id=new_id())
    assert record(services, sort, SHEET).before == 4
    with pytest.raises(ClosedSortError, match="reopen it, then import again"):
        record(services, sort, SHEET, sheet="2")


def test_texts_of_a_sheet_fit_into_the_log() -> None:
    assert (NOTE_LENGTH, BUCKET_LENGTH) == (entries.NOTE_LENGTH, entries.NAME_LENGTH)


def look(client: TestClient, sort: SortInfo, text: str | bytes, **typed: str) -> Any:
    data = text.encode() if isinstance(text, str) else text
    return client.post(
        f"/sorts/{sort.id}/sheet",
        data={"sheet": "1", **typed},
        files={"file": ("tuesday.csv", data, "text/csv")} if data else None,
        headers=HTML,
    )


def confirm(client: TestClient, sort: SortInfo, page: str, **typed: str) -> Any:
    """Send the form that the preview holds."""
    form = page.split("/sheet/import")[1].split("</form>")[0]
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))
    return client.post(
        f"/sorts/{sort.id}/sheet/import", data={**fields, **typed}, headers=HTML,
        follow_redirects=False,
    )  # fmt: skip


def test_look_first_then_record(client: TestClient, services: Services, sort: SortInfo) -> None:
    page = look(client, sort, SHEET, sorter="Ada").text
    assert "tuesday.csv: nothing recorded yet" in page
    assert "Record 4 lines" in page
    assert "Read as UTF-8, with the separator comma" in page
    assert rows(services, sort) == (0, 0, 0)
    answer = confirm(client, sort, page)
    assert answer.status_code == 303
    after = client.get(answer.headers["location"], headers=HTML).text
    assert "4 lines recorded" in after
    assert services.log.sort_rows(sort.id).items[0].sorter == "Ada"
    assert "Every line of this file is recorded already" in look(client, sort, SHEET).text


def test_a_line_that_was_undone_on_the_pages_stays_so_and_is_marked(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    record(services, sort, HEAD + "Steel cans,5,,,,,,,,\nFood,3,,,,,,,,\n")
    food = next(item for item in services.log.sort_rows(sort.id).items if item.category == "food")
    items.undo(services, item_id=food.id, change_id=new_id())
    page = look(client, sort, HEAD + "Food,3,,,,,,,,\nSteel cans,5,,,,,,,,\n").text
    assert "Every line of this file is recorded already" in page
    assert page.count("; recorded before, undone since") == 1
    assert page.count("; recorded before") == 2


def test_problems_are_shown_and_good_lines_can_be_accepted(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    page = look(client, sort, SHEET + "aluminum cans,4,,,,,,,,\n").text
    assert "did you mean Aluminium cans?" in page
    assert "Record the 4 good lines only" in page
    refused = confirm(client, sort, page, accept_good="no")
    assert refused.status_code == 422
    assert "nothing was recorded; fix them" in refused.text
    assert rows(services, sort) == (0, 0, 0)
    location = confirm(client, sort, page).headers["location"]
    assert "1 left out because of problems" in client.get(location, headers=HTML).text


def test_options_reach_the_file(client: TestClient, sort: SortInfo) -> None:
    text = "category;gross\nFood;1,250\n".encode("utf-16")
    page = look(client, sort, text, unit="kg", resolution="0,005", decimal="comma").text
    assert "Read as UTF-16, with the separator semicolon, with a decimal comma" in page
    assert "1.250 kg" in page
    assert confirm(client, sort, page).status_code == 303
    ambiguous = look(client, sort, 'category,gross\nFood,"1,250"\n', unit="kg", resolution="1")
    assert "can be read in two ways" in ambiguous.text


@pytest.mark.parametrize(
    ("data", "message"),
    [(b"", "No file was given"), (b"PK\x03\x04", "is no text"), (b"a,b\n", "names of the columns")],
)
def test_a_file_that_can_not_be_read(
    client: TestClient, sort: SortInfo, data: bytes, message: str
) -> None:
    answer = look(client, sort, data)
    assert answer.status_code == 422
    assert message in answer.text


def test_a_damaged_confirmation_records_nothing(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    answer = client.post(f"/sorts/{sort.id}/sheet/import", data={"content": "*"}, headers=HTML)
    assert answer.status_code == 422
    assert rows(services, sort) == (0, 0, 0)


def test_a_hostile_cell_is_shown_as_text(client: TestClient, sort: SortInfo) -> None:
    page = look(client, sort, HEAD + "<script>alert(1)</script>,1,,,,,,,,\n").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_the_import_of_a_closed_sort_says_so(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    close_sort(services, sort.id, event_id=new_id())
    assert "This sort is closed" in client.get(f"/sorts/{sort.id}/sheet", headers=HTML).text
    page = look(client, sort, SHEET).text
    assert "/sheet/import" not in page


def test_the_blank_sheet_lists_every_pile_with_its_routes(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    page = client.get("/sheet?programme=port_sable&paper=letter", headers=HTML).text
    assert "paper-letter" in page
    assert "Port Sable" in page
    for category in services.categories.categories:
        assert category.name in page
    own = client.get(f"/sorts/{sort.id}/sheet/print", headers=HTML).text
    assert "Kitchen bag" in own
    assert "Ada, Ben" in own
    assert "paper-a4" in own
    assert client.get("/sheet?paper=a3", headers=HTML).status_code == 422
    assert client.get("/sheet?programme=nowhere", headers=HTML).status_code == 404


def test_the_template_can_be_imported_as_it_is(client: TestClient, sort: SortInfo) -> None:
    answer = client.get("/sheet.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.content.startswith(b"\xef\xbb\xbf")
    page = look(client, sort, answer.content).text
    assert "No line is filled in." in page
