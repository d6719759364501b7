"""The kind of product as a request names it."""

from typing import Annotated

from pydantic import AfterValidator, Field

from app.reference.product_kinds import nearest_kind, product_kinds


def _known_kind(text: str) -> str:
    """Return the kind of product as the list spells it.

    Raises:
        ValueError: when the list does not hold it.
    """
    clean = " ".join(text.split()).casefold()
    if clean in product_kinds():
        return clean
    near = nearest_kind(clean)
    raise ValueError(f"Choose one of the kinds that --schema lists{f', such as {near}' if near else ''}.")


ProductKind = Annotated[
    str,
    AfterValidator(_known_kind),
    Field(description="The kind of product, of the pick-list", json_schema_extra={"enum": list(product_kinds())}),
]
