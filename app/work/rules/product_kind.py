"""The kind of product of a formula: chosen from the pick-list, else proposed from what the maker calls it."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.reference.product_kinds import product_kinds, propose_kind, words_for


@dataclass(frozen=True, slots=True)
class KindOfProduct:
    """A kind of the pick-list with the words of the rules; ``chosen`` tells a choice from a proposal."""

    kind: str
    words: frozenset[str]
    chosen: bool

    @property
    def certificate_category(self) -> str:
        """The category of perfume certificates; empty while no kind is known."""
        found = product_kinds().get(self.kind)
        return found.certificate_category if found else ""


def kind_of_product(product_kind: str, product_type: str, special_uses: Iterable[str] = ()) -> KindOfProduct:
    """Return the kind of product; without a choice and without words that propose one it is empty.

    >>> kind_of_product("", "hand cream, oil in water").kind
    'hand cream'
    """
    uses = tuple(special_uses)
    if product_kind in product_kinds():
        return KindOfProduct(product_kind, words_for(product_kind, uses), chosen=True)
    proposed = propose_kind(product_type)
    return KindOfProduct(proposed, words_for(proposed, uses), chosen=False)
