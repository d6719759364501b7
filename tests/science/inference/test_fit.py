"""Fitting class priors and measuring methods."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from app.science.inference.accuracy import equal_steps, geometric, log10_error, middle_of_use, zipf
from app.science.inference.fit import CLASS, PENALTIES, KnownList, count_by_class, fit_priors
from app.science.inference.values import ClassPrior, ListedName


def normal(x: Any, mean: float, sigma: float) -> Any:
    """The density of the normal distribution."""
    return np.exp(-0.5 * ((x - mean) / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))


STARTS = {
    "oil": ClassPrior("oil", 4.0, 1.0, bulk=True),
    "water": ClassPrior("water", 50.0, 1.0),
    "other": ClassPrior("other", 1.0, 1.5),
}


def known(percents: list[float], exact: bool = True) -> KnownList:
    """Twelve names with water first, so that the list itself shifts nothing."""
    rest = 12 - 1 - len(percents)
    names = [ListedName("Aqua", "water"), *(ListedName(f"o{i}", "oil") for i in range(len(percents)))]
    names += [ListedName(f"x{i}") for i in range(rest)]
    values = [50.0, *percents, *([1.0] * rest)]
    return KnownList("x", "cream", tuple(names), tuple(values), tuple([exact] * 12), 1)


def test_no_data_keep_the_start() -> None:
    assert fit_priors([], STARTS).of("oil") == STARTS["oil"]


def solved_by_hand(percents: list[float], weight: float) -> float:
    """The ridge estimate of one class level by its normal equation, all other columns absent."""
    logs = [math.log(p / 4.0) for p in percents]
    return weight * sum(logs) / (PENALTIES[CLASS] + weight * len(logs))


@pytest.mark.parametrize(("exact", "weight"), [(True, 1.0), (False, 0.5)])
def test_a_class_level_is_shrunk_by_its_penalty_and_assumed_shares_count_half(exact: bool, weight: float) -> None:
    fitted = fit_priors([known([2.0, 8.0, 16.0], exact=exact)], STARTS).of("oil")
    assert math.log(fitted.median_percent / 4.0) == pytest.approx(solved_by_hand([2.0, 8.0, 16.0], weight), rel=1e-6)


def test_a_substance_seen_often_keeps_more_of_its_own_level() -> None:
    def shift(times: int) -> float:
        lists = [
            replace(known([4.0, 4.0]), names=named("o0"), percents=(50.0, 1.0, *([4.0] * 10))) for _ in range(times)
        ]
        return fit_priors(lists, STARTS).names["o0"]

    assert shift(8) < shift(1) < 0


def named(key: str) -> tuple[ListedName, ...]:
    """Water, one oil with a key, ten oils without."""
    return (ListedName("Aqua", "water"), ListedName(key, "oil", key=key), *(ListedName("o", "oil") for _ in range(10)))


def test_a_kind_of_product_begins_at_its_start_and_moves_with_its_lists() -> None:
    begun = {("mask", "oil"): 1.0}
    assert fit_priors([], STARTS, begun).kinds == begun
    low = [replace(known([1.0] * 11), kind="mask")]
    assert fit_priors(low, STARTS, begun).kinds["mask", "oil"] < 1.0


def test_long_lists_teach_crowding() -> None:
    short, long = known([8.0] * 11), known([2.0] * 11)
    many = replace(long, names=(*long.names, *long.names[1:]), percents=(50.0, *([2.0] * 22)), exact=(True,) * 23)
    assert fit_priors([short] * 5 + [many] * 5, STARTS).of("oil").crowding < STARTS["oil"].crowding


def test_what_no_list_speaks_of_stays_where_it_started() -> None:
    names = (ListedName("Aqua", "water"), *(ListedName(f"o{i}", "oil") for i in range(19)))
    only_oils = KnownList("x", "cream", names, (50.0, *([2.5] * 19)), (True,) * 20, 1)
    starts = {**STARTS, "other": replace(STARTS["other"], role="body", crowding=-0.1, use_pull=0.3)}
    fitted = fit_priors([only_oils] * 5, starts)
    other = fitted.of("other")
    assert (other.median_percent, other.sigma, other.crowding, other.use_pull) == (1.0, 1.5, -0.1, 0.3)
    assert fitted.of("oil").median_percent < 4.0


def test_values_are_counted_by_class() -> None:
    assert count_by_class([known([1.0, 2.0])]) == {"water": 1, "oil": 2, "other": 9}


def test_an_error_of_a_factor_of_ten_is_one_and_traces_count_as_a_thousandth() -> None:
    assert log10_error(0.5, 5.0) == pytest.approx(1)
    assert log10_error(1e-6, 1e-5) == 0


def test_naive_methods_add_up_and_descend() -> None:
    names = [ListedName("Aqua", "water", 0, 95), ListedName("o", "oil", 1.0, 4.0), ListedName("x")]
    for method in (equal_steps, geometric(0.3), zipf(2.3), middle_of_use):
        assert sum(method(names)) == pytest.approx(100)
    assert equal_steps(names) == pytest.approx([50, 100 / 3, 50 / 3])
    assert middle_of_use(names) == pytest.approx([97.5, 2.0, 0.5])


# The whole fit against the same model written out anew: dense, by least squares on rows of its own for the penalties.

CLASSES = {
    "water": ClassPrior("water", 50.0, 1.0),
    "oil": ClassPrior("oil", 6.0, 0.9, bulk=True, role="body", crowding=-0.2),
    "butter": ClassPrior("butter", 3.0, 1.1, bulk=True, role="body"),
    "preservative": ClassPrior("preservative", 0.6, 0.7, role="keeper"),
    "other": ClassPrior("other", 1.0, 1.2, pinned=True),
}
BEGUN = {("balm", "butter"): 0.4, ("mist", "oil"): -0.3}
PENALTY = {"class": 6.0, "name": 1.5, "blend": 2.0, "kind": 12.0, "crowding": 12.0, "role": 12.0, "pull": 6.0}


def corpus() -> list[KnownList]:
    rng = np.random.default_rng(4)
    lists = []
    for number in range(14):
        wet = number % 3 > 0
        count = 5 + number % 6
        names = [ListedName("Aqua", "water")] if wet else []
        for place in range(count):
            kind = ("oil", "butter", "preservative", "other")[(place + number) % 4]
            low, high = ((0.5, 4.0), (None, 2.0), (None, None))[place % 3]
            key, blend = f"{kind.upper()}{place % 2}" if place % 5 else "", "MIX" if place % 4 == 1 else ""
            names.append(ListedName(f"{kind}{place}", kind, low, high, key=key, blend=blend))
        percents = tuple(float(x) for x in np.exp(rng.normal(0.2, 1.4, len(names))))
        exact = tuple(place % 4 != 2 for place in range(len(names)))
        lists.append(KnownList(str(number), "", tuple(names), percents, exact, 2, ("balm", "mist", "")[number % 3]))
    return lists


def usual_log(name: ListedName, prior: ClassPrior, count: int, wet: bool) -> float:
    found = math.log(prior.median_percent) + prior.crowding * math.log(count / 12)
    if name.use_high:
        middle = 0.5 * math.log((name.use_low or name.use_high / 20) * name.use_high) - 0.1
        found += prior.use_pull * (middle - math.log(prior.median_percent))
    return found + (0.3 if not wet and not prior.pinned else 0.0)


def rows_of(lists: list[KnownList]) -> list[tuple[float, dict[str, float], float, ClassPrior, str]]:
    rows = []
    for known_list in lists:
        count, crowd = len(known_list.names), math.log(len(known_list.names) / 12)
        wet = any(name.class_name == "water" for name in known_list.names[: (count + 1) // 2])
        for name, percent, exact in zip(known_list.names, known_list.percents, known_list.exact, strict=True):
            prior = CLASSES[name.class_name]
            if prior.name == "water":
                continue
            group = "bulk" if prior.bulk else "level"
            terms = {f"class {prior.name}": 1.0, f"crowding {group}": crowd, f"role {prior.role}": crowd}
            if name.key:
                terms[f"name {name.key}"] = 1.0
            if name.key and name.blend:
                terms[f"blend {name.key} in {name.blend}"] = 1.0
            if known_list.kind:
                terms[f"kind {known_list.kind}|{prior.name}"] = 1.0
            if name.use_high:
                middle = 0.5 * math.log((name.use_low or name.use_high / 20) * name.use_high) - 0.1
                terms[f"pull {group}"] = middle - math.log(prior.median_percent)
            expected = usual_log(name, prior, count, wet) + BEGUN.get((known_list.kind, prior.name), 0.0)
            rows.append((math.log(percent) - expected, terms, 1.0 if exact else 0.5, prior, known_list.kind))
    return rows


def test_a_corpus_is_fitted_as_the_model_says() -> None:
    rows = rows_of(corpus())
    columns = sorted({term for _, terms, *_ in rows for term in terms})
    design = np.array([[terms.get(column, 0.0) for column in columns] for _, terms, *_ in rows])
    rest, given = np.array([row[0] for row in rows]), np.array([row[2] for row in rows])
    penalties = np.diag(np.sqrt([PENALTY[column.split()[0]] for column in columns]))
    weight, sigma = given, {name: prior.sigma for name, prior in CLASSES.items()}
    level, off = np.zeros(len(columns)), rest
    for _ in range(4):
        root = np.sqrt(weight)
        tall = np.vstack((design * root[:, None], penalties))
        level = np.linalg.lstsq(tall, np.concatenate((rest * root, np.zeros(len(columns)))), rcond=None)[0]
        off = rest - design @ level
        for name, prior in CLASSES.items():
            mine = [n for n, row in enumerate(rows) if row[3].name == name]
            squares = 6 * prior.sigma**2 + sum(weight[n] * off[n] ** 2 for n in mine)
            sigma[name] = math.sqrt(squares / (6 + sum(weight[n] for n in mine)))
        # A preservative is carried in in a quarter of all lists, other small names in a hundredth, bulk never.
        strays = [0.25 if p.name == "preservative" else 0.0 if p.bulk else 0.01 for *_, p, _ in rows]
        meant = [
            0.85 * normal(o, 0, sigma[row[3].name]) + 0.15 * normal(o, 0, 2.3 * sigma[row[3].name])
            for o, row in zip(off, rows, strict=True)
        ]
        carried = normal(off, -1.5, 2.0)
        weight = given * np.array(
            [(1 - s) * m / ((1 - s) * m + s * c) for s, m, c in zip(strays, meant, carried, strict=True)]
        )
    found = fit_priors(corpus(), CLASSES, BEGUN)
    by = dict(zip(columns, level, strict=True))
    assert found.classes["water"] == CLASSES["water"]
    for name in ("oil", "butter", "preservative", "other"):
        start, fitted = CLASSES[name], found.classes[name]
        group = "bulk" if start.bulk else "level"
        assert math.log(fitted.median_percent / start.median_percent) == pytest.approx(by[f"class {name}"], abs=1e-6)
        assert fitted.sigma == pytest.approx(sigma[name], rel=1e-6)
        assert fitted.crowding - start.crowding == pytest.approx(
            by[f"crowding {group}"] + by[f"role {start.role}"], abs=1e-6
        )
        assert fitted.use_pull - start.use_pull == pytest.approx(by[f"pull {group}"], abs=1e-6)
        assert fitted.anchor_percent == start.median_percent
    levels = {column.split(" ", 1)[1]: value for column, value in by.items() if column.split()[0] in ("name", "blend")}
    assert found.names == pytest.approx(levels, abs=1e-6)
    kinds = {
        tuple(column.split(" ", 1)[1].split("|")): value for column, value in by.items() if column.startswith("kind")
    }
    assert found.kinds == pytest.approx({key: value + BEGUN.get(key, 0.0) for key, value in kinds.items()}, abs=1e-6)
    squares, weights = dict.fromkeys(("balm", "mist", ""), 0.0), dict.fromkeys(("balm", "mist", ""), 0.0)
    for w, o, (*_, prior, kind) in zip(weight, off, rows, strict=True):
        squares[kind] += w * (o / sigma[prior.name]) ** 2
        weights[kind] += w
    average = sum(squares.values()) / sum(weights.values())
    assert found.widths == pytest.approx({
        kind: math.sqrt((80 + squares[kind] / average) / (80 + weights[kind])) for kind in ("balm", "mist")
    }, rel=1e-6)  # fmt: skip
