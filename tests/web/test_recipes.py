"""The pages that hand a formula on."""

import io
import re

import pytest
from flask.testing import FlaskClient
from PIL import Image
from pypdf import PdfReader


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


def sent(alt: str = "Two jars", data: bytes | None = None) -> dict[str, object]:
    if data is None:
        out = io.BytesIO()
        Image.effect_noise((720, 540), 90).convert("RGB").save(out, "JPEG")
        data = out.getvalue()
    return {"alt": alt, "picture": (io.BytesIO(data), "jar.jpg"), "key": f"k{alt}"}


@pytest.mark.paper
def test_pictures_stand_on_the_page_and_the_card_with_words_for_who_cannot_see_them(demo_client: FlaskClient) -> None:
    path = "/formulas/2/recipe"
    for alt in ("Two jars", "A spatula", "The pot", "A label"):
        assert demo_client.post(f"{path}/pictures", data=sent(alt)).status_code == 303
    shown = demo_client.get(path).text
    assert 'alt="A spatula"' in shown
    address = re.search(r'src="([^"]+pictures/1\.jpg)"', shown)
    assert address
    assert demo_client.get(address[1]).mimetype == "image/jpeg"
    page = demo_client.post(path, data={"words": "Mine.", "kind": "html"})
    assert 100_000 < len(page.data) < 200_000
    assert page.text.count("data:image/jpeg;base64,") == 4
    assert 'alt="The pot"' in page.text
    assert demo_client.post(f"{path}/pictures/1/remove").status_code == 303
    assert 'alt="Two jars"' not in demo_client.get(path).text
    pictured = demo_client.post("/formulas/8/recipe/pictures", data=sent("Mist"))
    assert pictured.status_code == 303
    card = PdfReader(io.BytesIO(demo_client.get("/formulas/8/method-card.pdf").data))
    assert len(card.pages) == 1
    assert len(card.pages[0].images) == 1


def test_a_picture_that_cannot_be_read_is_told_at_its_field_and_its_words_stay(demo_client: FlaskClient) -> None:
    answer = demo_client.post("/formulas/2/recipe/pictures", data=sent("My jar", b"nonsense"))
    assert answer.status_code == 422
    assert "picture-fault" in answer.text
    assert 'value="My jar"' in answer.text


def test_what_two_people_wrote_is_shown_side_by_side(demo_client: FlaskClient) -> None:
    path = "/formulas/2/recipe"
    seen = re.search(r'name="seen" value="([^"]*)"', demo_client.get(path).text)
    assert seen
    theirs = {"words": "Theirs.", "kind": "save", "seen": seen[1]}
    assert demo_client.post(path, data=theirs).status_code == 303
    mine = demo_client.post(path, data={**theirs, "words": "Mine."})
    assert mine.status_code == 409
    assert all(words in mine.text for words in ("Theirs.", "Mine."))
    assert "Theirs." in demo_client.get(path).text


def test_a_substitute_is_added_to_the_recipe(demo_client: FlaskClient) -> None:
    page = demo_client.get("/formulas/2/recipe/substitutes").text
    key = re.search(r'<option value="([^"]+)"[^>]*>Cetyl alcohol', page)
    assert key
    found = demo_client.get(f"/formulas/2/recipe/substitutes?line={key[1]}").text
    line = re.search(r'name="substitutes" value="([^"]+)"', found)
    seen = re.search(r'name="seen" value="([^"]*)"', found)
    assert line
    assert seen
    added = {"kind": "save", "seen": seen[1], "substitutes": line[1]}
    assert demo_client.post("/formulas/2/recipe", data=added).status_code == 303
    assert "Cetyl alcohol: " in demo_client.get("/formulas/2/recipe").text
