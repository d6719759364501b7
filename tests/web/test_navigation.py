"""The head of every page: each area and each of its pages can be reached, and says where one is."""

import re

import pytest
from flask.testing import FlaskClient

from app.web.navigation import AREAS, place_of

PATHS = sorted({page.path for area in AREAS for page in (area, *area.pages)} - {"/demonstration"})


@pytest.mark.parametrize("path", PATHS)
def test_every_page_the_head_names_is_there_and_says_where_one_is(demo_client: FlaskClient, path: str) -> None:
    answer = demo_client.get(path)
    assert answer.status_code == 200
    head = answer.text.partition('<main id="main"')[0]
    current = re.findall(r'<a href="([^"]+)" aria-current="page"', head)
    assert len(current) == 1 + bool(area_pages(path))
    assert current[-1] == path


def test_a_page_further_down_marks_its_area(demo_client: FlaskClient) -> None:
    for path in ("/materials/51/edit", "/read-a-label/photo", "/stock/orders/new"):
        head = demo_client.get(path).text.partition('<main id="main"')[0]
        assert f'<a href="/{path.split("/")[1]}" aria-current="page"' in head


def area_pages(path: str) -> int:
    return next(len(area.pages) for area in AREAS if path in {area.path, *(page.path for page in area.pages)})


@pytest.mark.parametrize(
    ("path", "area", "page"),
    [
        ("/stock/orders/3", "Stock", "Orders"),
        ("/library/glycerin", "Materials", "Library"),
        ("/label-sheets", "Workshop", "Label sheets"),
        ("/read-a-label/4", "Read a label", None),
        ("/formulas/file", "Formulas", "Import and export"),
        ("/stockings", None, None),
    ],
)
def test_an_address_belongs_to_its_nearest_area(demo_client: FlaskClient, path: str, area: str, page: str) -> None:
    with demo_client.application.test_request_context():
        found = place_of(path)
    assert (found.area and found.area.words, found.page and found.page.words) == (area, page)
