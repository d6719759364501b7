"""The page and the PDF of a class."""

import io

import pdfplumber
import pytest
from flask.testing import FlaskClient


@pytest.mark.paper
def test_one_pdf_holds_weights_shopping_list_handout_and_every_label(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/formulas/2/class.pdf?participants=3&size=60 g&paper=Letter")
    with pdfplumber.open(io.BytesIO(answer.data)) as pdf:
        texts = [page.extract_text(x_tolerance_ratio=0.12) for page in pdf.pages]
        sheets = [text for text in texts if "page " not in text]
        assert [(float(page.width), float(page.height)) for page in pdf.pages] == [(612, 792)] * len(texts)
    whole = "\n".join(texts)
    assert "Weigh for the kits" in texts[0]
    assert "Shopping list" in whole
    assert "Target pH 4.8" in whole
    labels = "\n".join(sheets)
    assert labels.count("Made in a class, not for sale.") == 3
    assert labels.count("42.16 g") == 3
    assert labels.count("Shea butter") >= 3


def test_what_cannot_be_is_told_at_its_field_and_kept(demo_client: FlaskClient) -> None:
    answer = demo_client.get("/formulas/2/class?participants=half&size=60 g")
    assert answer.status_code == 422
    assert 'value="half"' in answer.text
    assert "participants-fault" in answer.text
    assert 'value="60 g"' in answer.text
    sized = demo_client.get("/formulas/2/class?participants=3&size=much")
    assert sized.status_code == 422
    assert "size-fault" in sized.text
    assert demo_client.get("/formulas/2/class.pdf?participants=half").status_code == 422
    assert demo_client.get("/formulas/99/class").status_code == 404
