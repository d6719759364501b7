"""The pages that hand a formula on."""

import pytest
from flask.testing import FlaskClient


def test_the_recipe_is_shown_and_given_as_files(demo_client: FlaskClient) -> None:
    page = demo_client.get("/formulas/2/recipe?size=300 g").text
    assert "300 g" in page
    for kind, mimetype in (("html", "text/html"), ("md", "text/markdown"), ("txt", "text/plain")):
        data = {"words": "Made on Sundays.", "kind": kind}
        answer = demo_client.post("/formulas/2/recipe?size=300 g", data=data)
        assert answer.mimetype == mimetype
        assert f'.{kind}"' in answer.headers["Content-Disposition"]
        assert "Made on Sundays." in answer.text
        assert "€" not in answer.text


def test_what_cannot_be_taken_is_told_and_kept(demo_client: FlaskClient) -> None:
    slip = demo_client.post("/formulas/2/recipe", data={"words": "x" * 90_000, "kind": "html"})
    assert slip.status_code == 422
    assert "x" * 100 in slip.text
    assert demo_client.post("/formulas/2/recipe", data={"kind": "exe"}).status_code == 422
    assert demo_client.get("/formulas/2/recipe?size=much").status_code == 422
    assert demo_client.get("/formulas/99/recipe").status_code == 404


@pytest.mark.paper
def test_the_method_card_is_a_pdf(demo_client: FlaskClient) -> None:
    assert demo_client.get("/formulas/2/method-card.pdf?paper=Letter").mimetype == "application/pdf"
