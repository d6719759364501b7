"""What the inference says in words: clashes and the ways out of them."""

from collections.abc import Sequence

from app.science.inference.values import Clash, ListedName, NameStatement


def percent_words(value: float) -> str:
    """Write % w/w with three significant digits and no needless zeros.

    >>> percent_words(0.43997)
    '0.44 %'
    """
    text = f"{value:.3g}" if abs(value) < 100 else f"{value:.0f}"
    return f"{float(text):.10f}".rstrip("0").rstrip(".") + " %"


def statement_words(statement: NameStatement, names: Sequence[ListedName]) -> str:
    """Return what was stated."""
    name = names[statement.index].name
    if statement.kind == "claim":
        return f"{name} is {percent_words(statement.percent)} (stated)"
    if statement.kind == "maximum":
        return f"{name} is at most {percent_words(statement.percent)} (legal maximum)"
    return f"{name} stands at place {statement.index + 1} of the list"


def clash_sentences(clash: Clash, names: Sequence[ListedName]) -> list[str]:
    """Return which statements clash, what this answer does without, and what giving up each alone would do."""
    statements = "; ".join(statement_words(statement, names) for statement in clash.statements)
    sentences = [f"These cannot hold together with the printed order and a sum of 100 %: {statements}."]
    for given in clash.given_up:
        said, fitting = statement_words(given.statement, names), percent_words(given.fitting)
        if given.statement.kind == "order":
            sentences.append(f"This answer does without '{said}': at {fitting} it would have to stand elsewhere.")
        else:
            sentences.append(f"This answer does without '{said}': {fitting} would fit.")
    for remedy in clash.remedies:
        name, said = names[remedy.statement.index].name, statement_words(remedy.statement, names)
        low, high = percent_words(remedy.low), percent_words(remedy.high)
        sentences.append(f"Giving up '{said}' would resolve it: {name} would then lie between {low} and {high}.")
    return sentences
