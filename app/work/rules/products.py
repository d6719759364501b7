"""The words of the rules for the kind of product, read from what the maker calls it and from the special uses."""

import re
from collections.abc import Iterable, Mapping

# What is typed (a word or words, any ending where it ends in *) and what the rules call it. A body product is named
# apart from the skin, since some limits are for body lotions only.
KINDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("anti-?dandruff", ("anti-dandruff", "hair")),
    ("shampoo*|hair|scalp|conditioner*", ("hair",)),
    ("hair spray*|hairspray*", ("hair spray", "hair")),
    ("hair dye*|hair colou?r*", ("hair dye", "hair")),
    ("straighten*|relaxer", ("straightener", "hair")),
    ("hand wash*|hand soap*|liquid soap*", ("hand wash", "hand", "skin")),
    ("hands?", ("hand", "skin")),
    ("foot|feet", ("foot", "skin")),
    ("face|facial|day cream*|night cream*", ("face", "skin")),
    ("foundation*|make-?up", ("face make-up", "face")),
    ("body (?:lotion|cream|milk|butter|balm|oil)s?", ("body lotion", "skin")),
    ("body|shower|bath|soap*", ("skin",)),
    ("body (?:spray|mist)s?", ("body spray", "skin")),
    ("bubble bath*|foam bath*|bath foam*", ("bubble bath", "skin")),
    ("deodorant*", ("deodorant", "skin")),
    ("deodorant sprays?", ("deodorant spray", "deodorant")),
    ("antiperspirant*|anti-perspirant*", ("antiperspirant", "skin")),
    ("lips?|lipstick*", ("lip",)),
    ("eyes?|mascara*|eyeliner*|kohl|kajal", ("eye",)),
    ("eyelash*|lash", ("eyelash", "eye")),
    ("nails?", ("nail",)),
    ("toothpaste*|tooth powder*", ("toothpaste", "oral")),
    ("mouth ?wash*|mouth rinse*", ("mouthwash", "oral")),
    ("mouth sprays?", ("mouth spray", "oral")),
    ("sunscreen*|sun cream*|sun lotion*|sun milk*", ("sunscreen", "sun product")),
    ("self-?tan*", ("self-tanning", "skin")),
    ("depilator*|hair remov*", ("depilatory",)),
    ("callus*|callosit*|corn remover*", ("callosity", "foot")),
    ("eau de toilette|edt", ("eau de toilette", "alcoholic fragrance")),
    ("perfume|eau de parfum|edp|fine fragrance", ("fine fragrance", "alcoholic fragrance")),
    ("solid perfume*|cream perfume*", ("fragrance cream",)),
    ("powder*", ("powder",)),
    ("aerosol*", ("aerosol",)),
    ("sprays?|mists?", ("spray",)),
    ("baby|babies|infant*|toddler*", ("children under 3", "children")),
    ("child*|kids?", ("children",)),
)
SPECIAL: Mapping[str, tuple[str, ...]] = {
    "eye area": ("eye",),
    "spray": ("spray",),
    "oral": ("oral",),
    "under three": ("children under 3", "children"),
}


def _pattern(words: str) -> re.Pattern[str]:
    spelled = words.replace("*", r"\w*").replace(" ", r"[\s-]+")
    return re.compile(rf"(?<![\w])(?:{spelled})(?![\w])", re.IGNORECASE)


_READY = tuple((_pattern(words), meant) for words, meant in KINDS)


def product_words(product_type: str, special_uses: Iterable[str] = ()) -> frozenset[str]:
    """Read the kind of product; empty where nothing is recognised, so that no rule is passed over on a guess.

    >>> sorted(product_words("hand cream, oil in water", ["under three"]))
    ['children', 'children under 3', 'hand', 'skin']
    """
    meant = {word for pattern, words in _READY if pattern.search(product_type) for word in words}
    return frozenset(meant.union(*(SPECIAL.get(use, ()) for use in special_uses)))
