"""Where a rule applies, as an expression over the words for a kind of product.

A scope is a set of alternatives. An alternative joins words with ``+``; ``!`` before a word bars it. So
``hair+leave-on hair`` is a hair product that stays, and ``eye+!make-up remover`` anything for the eye but a remover.
An empty scope fits every product.
"""

from functools import lru_cache

# Words that speak of a whole area of the body; a rule for a narrower kind of product goes before a rule for these.
BROAD = frozenset({"skin", "body", "hair", "oral", "eye", "lip", "face", "make-up", "mucous membranes", "fragrance"})


@lru_cache(maxsize=65536)
def closeness(scope: frozenset[str], words: frozenset[str]) -> int:
    """Return how closely a scope fits a kind of product: 0 where it does not, more the narrower the alternative.

    >>> closeness(frozenset({"oral"}), frozenset({"oral", "toothpaste"}))
    1
    >>> closeness(frozenset({"toothpaste", "hair"}), frozenset({"oral", "toothpaste"}))
    2
    >>> closeness(frozenset({"eye+!mascara"}), frozenset({"eye", "mascara"}))
    0
    """
    return max((_weight(alternative, words) for alternative in scope), default=0)


def _weight(alternative: str, words: frozenset[str]) -> int:
    parts = [part.strip() for part in alternative.split("+")]
    wanted = {part for part in parts if not part.startswith("!")}
    barred = {part.removeprefix("!") for part in parts} - wanted
    if not wanted <= words or barred & words:
        return 0
    return sum(1 if word in BROAD else 2 for word in wanted) or 1


def fits(scope: frozenset[str], words: frozenset[str]) -> bool:
    """Return whether a scope takes in a kind of product; an empty scope takes in all."""
    return not scope or closeness(scope, words) > 0
