"""Where a pasted list is cut: at what separates names, and not inside a name, a number or a bracket."""

import pytest

from app.science.label_list.pieces import pieces_of

CUTS = {
    "commas and semicolons": ("Aqua, Glycerin; Urea", ["Aqua", "Glycerin", "Urea"]),
    "bullets": ("Aqua • Glycerin · Urea | Talc", ["Aqua", "Glycerin", "Urea", "Talc"]),
    "lines": ("Aqua\nGlycerin\n\nUrea", ["Aqua", "Glycerin", "Urea"]),
    "lines, a comma in one": ("Aqua\nSalt, sea\nUrea", ["Aqua", "Salt", "sea", "Urea"]),
    "a line that goes on": ("Sodium\nChloride, Urea", ["Sodium\nChloride", "Urea"]),
    "lines broken anywhere": ("Aqua, Sodium\nChloride, Urea,\nTalc", ["Aqua", "Sodium\nChloride", "Urea", "Talc"]),
    "bullets over lines": ("• Aqua\n• Sodium\nChloride", ["Aqua", "Sodium\nChloride"]),
    "locants are no commas between lines": ("1,2-Hexanediol\nAqua", ["1,2-Hexanediol", "Aqua"]),
    "tabs": ("Aqua\tGlycerin", ["Aqua", "Glycerin"]),
    "a tab beside commas": ("Aqua, Urea\tTalc", ["Aqua", "Urea\tTalc"]),
    "a tab beside bullets": ("Aqua • Urea\tTalc", ["Aqua", "Urea\tTalc"]),
    "dashes": ("Aqua - Glycerin - Urea", ["Aqua", "Glycerin", "Urea"]),
    "one dash": ("Aqua - Glycerin", ["Aqua - Glycerin"]),
    "numbers": ("1. Aqua 2. Glycerin 3. Urea", ["Aqua", "Glycerin", "Urea"]),
    "a chemical name": ("1,2-Hexanediol, Urea", ["1,2-Hexanediol", "Urea"]),
    "a chemical name with a blank": ("Aqua, 1, 2-Hexanediol, Urea", ["Aqua", "1, 2-Hexanediol", "Urea"]),
    "a decimal comma": ("Urea 0,5 %, Aqua", ["Urea 0,5 %", "Aqua"]),
    "brackets": ("Parfum (Limonene, Linalool), Aqua", ["Parfum (Limonene, Linalool)", "Aqua"]),
    "a bracket nobody closed": ("Parfum (Limonene, Linalool", ["Parfum (Limonene", "Linalool"]),
    "a bracket closed too far away": (f"A (B, {'x' * 200}), C", ["A (B", f"{'x' * 200})", "C"]),
    "list dashes, numbers, full stops": ("- Aqua, — Urea., 3) Talc:", ["Aqua", "Urea", "Talc"]),
    "a dash that is part of a name": ("-Carotene, Aqua", ["-Carotene", "Aqua"]),
    "an abbreviation keeps its stop": ("Alcohol denat., Aqua.", ["Alcohol denat.", "Aqua"]),
    "nothing between commas": ("Aqua,, ,Urea", ["Aqua", "Urea"]),
    "a heading": ("Ingredients: Aqua, Urea", ["Aqua", "Urea"]),
    "words before a heading": ("Shake well. Ingredients: Aqua", ["Aqua"]),
}


@pytest.mark.parametrize(("text", "pieces"), CUTS.values(), ids=CUTS)
def test_a_text_is_cut_where_names_end(text: str, pieces: list[str]) -> None:
    found = pieces_of(text)
    assert [piece.text for piece in found] == pieces
    assert [text[piece.start : piece.end] for piece in found] == pieces


def test_shades_end_where_their_bracket_closes_and_actives_where_the_next_heading_stands() -> None:
    shades = pieces_of("Talc, [+/- CI 77891 (a, b), CI 77491], Parfum")
    assert [(one.text, one.may_contain) for one in shades] == [
        ("Talc", False), ("CI 77891 (a, b)", True), ("CI 77491", True), ("Parfum", False),
    ]  # fmt: skip
    drug = pieces_of("Actives: Zinc Oxide; Inactive ingredients: Aqua. May contain: CI 77891")
    assert [(one.text, one.active, one.may_contain) for one in drug] == [
        ("Zinc Oxide", True, False), ("Aqua", False, False), ("CI 77891", False, True),
    ]  # fmt: skip
