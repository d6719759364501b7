"""A page of a long list: its rows, and where its neighbours are, with everything that was asked kept."""

import pytest
from flask import Flask

from app.web.paging import asked_page, counted_page, page_after_skipped

ROWS = list(range(1, 251))
APP = Flask(__name__)


@pytest.mark.parametrize(
    ("address", "first", "before", "after"),
    [
        ("/list?q=a&state=", 1, "", "/list?q=a&skip=100"),
        ("/list?skip=100&q=a", 101, "/list?q=a&skip=0", "/list?q=a&skip=200"),
        ("/list?skip=200", 201, "/list?skip=100", ""),
        ("/list?skip=150", 151, "/list?skip=50", ""),
        ("/list?skip=30", 31, "/list?skip=0", "/list?skip=130"),
        ("/list?skip=x", 1, "", "/list?skip=100"),
    ],
)
def test_a_list_that_nobody_counts_knows_whether_more_follow(address: str, first: int, before: str, after: str) -> None:
    with APP.test_request_context(address):
        page = page_after_skipped(lambda skip: ROWS[skip : skip + 101], 100)
    assert (page.first, page.rows[0], page.before, page.after) == (first, first, before, after)
    assert len(page.rows) == min(100, 251 - first)
    assert page.count is None


@pytest.mark.parametrize(
    ("address", "number", "shown", "before", "after"),
    [
        ("/list?q=a%26b", 1, ROWS[:100], "", "/list?q=a%26b&page=2"),
        ("/list?page=2", 2, ROWS[100:200], "/list?page=1", "/list?page=3"),
        ("/list?page=99", 3, ROWS[200:], "/list?page=2", ""),
        ("/list?page=0", 1, ROWS[:100], "", "/list?page=2"),
    ],
)
def test_a_counted_list_has_numbered_pages(
    address: str, number: int, shown: list[int], before: str, after: str
) -> None:
    with APP.test_request_context(address):
        page = asked_page(ROWS)
    assert (page.number, page.pages, page.count, page.rows) == (number, 3, 250, shown)
    assert (page.before, page.after) == (before, after)


def test_a_page_cut_by_a_query_says_where_its_list_is() -> None:
    with APP.test_request_context("/list/results?q=a&page=2"):
        page = counted_page(ROWS[40:80], 2, 90, "/list", 40)
    assert (page.first, page.pages, page.before, page.after) == (41, 3, "/list?q=a&page=1", "/list?q=a&page=3")


def test_an_empty_list_is_one_page_without_neighbours() -> None:
    with APP.test_request_context("/list"):
        page = asked_page([])
    assert (page.rows, page.pages, page.before, page.after) == ([], 1, "", "")
