"""How long a batch sheet's numbers take: 40 lines, against the time that the bare multiplications need."""

from decimal import Decimal

from pytest_benchmark.fixture import BenchmarkFixture

from app.reference.declaration_names import name_book
from app.science.batch_size import BatchSize
from app.science.composition import DosedMaterial, Part
from app.science.declaration.listing import declare
from app.science.formula import Formula, Line, Material, Phase
from app.science.jurisdiction import Jurisdiction
from app.science.scales import Scale
from app.science.weighing import weigh

LINES = (
    Line("water", Material(0, "water"), Decimal(61), is_remainder=True),
    *(Line(str(i), Material(0, str(i)), Decimal(i) / 20) for i in range(1, 40)),
)
FORMULA = Formula(
    phases=(Phase("A", lines=LINES),),
    size=BatchSize(Decimal(1000)),
    loss_percent=Decimal(3),
    scales=(Scale(Decimal("0.01"), Decimal(200)), Scale(Decimal("0.1"), Decimal(3000))),
)


def test_weights_of_forty_lines(benchmark: BenchmarkFixture) -> None:
    found = benchmark(weigh, FORMULA)
    assert sum(line.shown_g for line in found.lines) == found.total_shown_g


def test_bare_multiplications_of_forty_lines(benchmark: BenchmarkFixture) -> None:
    shares = [line.percent for line in LINES]
    found = benchmark(lambda: [Decimal(1000) * share / 100 for share in shares])
    assert len(found) == 40


def test_declaration_of_forty_materials(benchmark: BenchmarkFixture) -> None:
    materials = [
        DosedMaterial(f"m{i}", Decimal("2.5"), (Part(f"Substance {i % 30}", Decimal(60)), Part("Aqua", Decimal(40))))
        for i in range(40)
    ]
    book = name_book()
    found = benchmark(declare, materials, Jurisdiction.EU, book)
    assert found.entries[0].name == "Aqua"
