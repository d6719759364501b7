from decimal import Decimal
from pathlib import Path

import pytest
from babel.numbers import format_currency

from app.store.engine import Store, sqlite_url
from app.store.errors import Conflict, NotFound, Unusable
from app.store.workshop import Workshop, the_workshop
from app.work import backups, equipment
from app.work import workshop as work
from app.work.clock import today
from app.work.equipment import PackagingForm, ScaleForm
from app.work.form import Faults, Overtaken
from app.work.workshop import SettingsForm

D = Decimal
GOOD = SettingsForm(
    name="Larch Street workshop",
    address="1 Larch Street\nAshwater",
    currency="jpy",
    locale="ja_JP",
    paper="Letter",
    jurisdiction="US",
    batch_number_pattern=" {code}-{year:2}-{count:3} ",
    labour_rate="22,50",
    overhead_percent="18 %",
    tax_percent="",
    loss_percent="3",
)


def test_settings_are_kept_as_read(store: Store) -> None:
    work.change_settings(store, GOOD, work.load_workshop(store).row_version)
    shop = work.load_workshop(store)
    assert (shop.currency, shop.labour_rate, shop.overhead_percent, shop.tax_percent) == ("JPY", D("22.5"), D(18), D(0))
    assert shop.batch_number_pattern == "{code}-{year:2}-{count:3}"
    assert shop.address == "1 Larch Street\nAshwater"


WRONG = [
    ("name", "  "), ("currency", "XXX"), ("currency", "DEM"), ("locale", "xx_XX"), ("paper", "A5"),
    ("jurisdiction", "UK"),
    ("batch_number_pattern", "{code}"), ("labour_rate", "nan"), ("labour_rate", "-1"), ("overhead_percent", "1001"),
    ("tax_percent", "101"), ("loss_percent", "100"), ("contact", "x" * 60_000),
]  # fmt: skip


@pytest.mark.parametrize(("field", "typed"), WRONG, ids=[f"{field} {typed[:10]}" for field, typed in WRONG])
def test_what_is_wrong_with_a_setting_is_told_at_its_field(store: Store, field: str, typed: str) -> None:
    version = work.load_workshop(store).row_version
    with pytest.raises(Faults) as refused:
        work.change_settings(store, GOOD.but(**{field: typed}), version)
    assert [fault.field for fault in refused.value.faults] == [field]
    assert work.load_workshop(store).row_version == version


def test_settings_that_changed_meanwhile_are_not_overwritten(store: Store) -> None:
    seen = work.load_workshop(store).row_version
    work.change_settings(store, GOOD, seen)
    with pytest.raises(Conflict):
        work.change_settings(store, GOOD.but(name="Mine"), seen)
    theirs = SettingsForm.of(work.load_workshop(store))
    found = GOOD.but(name="Mine").differences(theirs)
    assert found[0].label == "Name of the workshop"


def test_every_currency_and_locale_offered_can_be_written() -> None:

    codes = [choice.value for choice in work.currencies()]
    assert {"EUR", "USD", "GBP", "JPY", "TND"} <= set(codes)
    assert "DEM" not in codes
    assert [format_currency(D("12.4"), code, locale="en") for code in codes]
    assert [format_currency(D("12.4"), "EUR", locale=choice.value) for choice in work.locales()[::40]]
    assert {"en", "en_IE", "de_AT", "fr_CA"} <= {choice.value for choice in work.locales()}


def test_scales_are_listed_finest_first(store: Store) -> None:
    equipment.SCALES.add(store, ScaleForm("Floor", "1", "15 kg"))
    equipment.SCALES.add(store, ScaleForm("Pocket", "10 mg", "200"))
    assert [(s.name, s.readability_g, s.capacity_g) for s in equipment.SCALES.list(store)] == [
        ("Pocket", D("0.01"), D(200)),
        ("Floor", D(1), D(15000)),
    ]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (ScaleForm("", "1", "2"), "name"),
        (ScaleForm("a", "", "2"), "readability"),
        (ScaleForm("a", "0", "2"), "readability"),
        (ScaleForm("a", "1e400", "2"), "readability"),
        (ScaleForm("a", "1 mL", "2"), "readability"),
        (ScaleForm("a", "1 kg", "2 g"), "capacity"),
        (ScaleForm("a", "1", "nan"), "capacity"),
        (ScaleForm("a", "1", "2 kg", "2 kg"), "vessel"),
        (ScaleForm("a", "1", "2 kg", "-1"), "vessel"),
    ],
)
def test_a_scale_that_cannot_be_is_refused(typed: ScaleForm, field: str) -> None:
    with pytest.raises(Faults) as refused:
        typed.checked()
    assert [fault.field for fault in refused.value.faults] == [field]


def test_a_scale_is_noted_once_changed_and_removed(store: Store) -> None:
    typed = ScaleForm("Bench", "0.1", "2 kg")
    equipment.SCALES.add(store, typed, "key")
    equipment.SCALES.add(store, typed.but(name="Again"), "key")
    (scale,) = equipment.SCALES.list(store)
    with pytest.raises(Faults, match="already one named"):
        equipment.SCALES.add(store, typed)
    seen = ScaleForm.of(scale).fingerprint
    equipment.SCALES.revise(store, scale.id, typed.but(capacity="3 kg"), seen)
    with pytest.raises(Conflict):
        equipment.SCALES.revise(store, scale.id, typed.but(capacity="4 kg"), seen)
    assert equipment.SCALES.load(store, scale.id).capacity_g == 3000
    seen = ScaleForm.of(equipment.SCALES.load(store, scale.id)).fingerprint
    equipment.SCALES.revise(store, scale.id, typed.but(vessel="0.35 kg"), seen)
    assert equipment.SCALES.load(store, scale.id).vessel_g == 350
    assert equipment.SCALES.remove(store, scale.id) == "Bench"
    with pytest.raises(NotFound):
        equipment.SCALES.load(store, scale.id)


def test_packaging_is_noted_changed_and_retired(store: Store) -> None:
    equipment.PACKAGING.add(store, PackagingForm("Jar", "48", "52,80", "Quay"))
    equipment.PACKAGING.add(store, PackagingForm("a tin", "100"))
    tin, jar = equipment.PACKAGING.list(store)
    assert (jar.units_per_pack, [price.amount for price in jar.prices], tin.prices) == (D(48), [D("52.8")], [])
    seen = PackagingForm.of(jar).fingerprint
    equipment.PACKAGING.revise(store, jar.id, PackagingForm("Jar", "50", "50"), seen)
    with pytest.raises(Conflict):
        equipment.PACKAGING.revise(store, jar.id, PackagingForm("Jar", "51"), seen)
    dated = equipment.PACKAGING.load(store, jar.id).prices
    assert [(price.amount, price.quantity_g, price.priced_on) for price in dated] == [
        (50, 50, today()),
        (D("52.8"), 48, today()),
    ]
    equipment.PACKAGING.retire(store, tin.id)
    assert [piece.name for piece in equipment.PACKAGING.list(store)] == ["Jar", "a tin"]
    equipment.PACKAGING.retire(store, tin.id, back=True)
    assert equipment.PACKAGING.load(store, tin.id).retired_at is None


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (PackagingForm("", "1"), "name"),
        (PackagingForm("a", "0"), "units_per_pack"),
        (PackagingForm("a", ""), "units_per_pack"),
        (PackagingForm("a", "1", "-1"), "price"),
        (PackagingForm("a", "1", "1e400"), "price"),
    ],
)
def test_packaging_that_cannot_be_is_refused(typed: PackagingForm, field: str) -> None:
    with pytest.raises(Faults) as refused:
        typed.checked(Workshop(currency="EUR", locale="en"))
    assert [fault.field for fault in refused.value.faults] == [field]


@pytest.mark.sqlite
def test_a_backup_holds_the_workshop_and_is_listed_newest_first(store: Store) -> None:
    first = backups.make_backup(store).path
    equipment.SCALES.add(store, ScaleForm("Bench", "0.1", "2 kg"))
    second = backups.make_backup(store).path
    assert [one.path for one in backups.list_backups(store)] == [second, first]
    assert backups.list_backups(store)[0].why == "made by hand"
    copy = Store(sqlite_url(second))
    with copy.reading() as session:
        assert the_workshop(session).name == "Larch Street workshop"
    assert [scale.name for scale in equipment.SCALES.list(copy)] == ["Bench"]
    copy.close()


@pytest.mark.parametrize("name", ["../tarebook.db", "tarebook.db", "", "tarebook-20260101-000000-by-hand.db"])
@pytest.mark.sqlite
def test_only_a_listed_backup_is_found(store: Store, name: str) -> None:
    backups.make_backup(store)
    with pytest.raises(NotFound):
        backups.find_backup(store, name)


def test_a_workshop_on_a_server_is_not_backed_up_here() -> None:
    server = Store.__new__(Store)
    server.url = "postgresql+psycopg://localhost/shop"
    assert backups.backup_folder(server) is None
    assert backups.list_backups(server) == []
    with pytest.raises(Unusable, match="database server"):
        backups.make_backup(server)


@pytest.mark.sqlite
def test_the_backup_folder_lies_beside_the_workshop(store: Store, tmp_path: Path) -> None:
    assert backups.backup_folder(store) == tmp_path / "backups"


def test_what_somebody_else_saved_is_told_by_the_fields_that_differ(store: Store) -> None:
    bench = ScaleForm(name="Bench", readability="0.1 g", capacity="2 kg")
    with store.reading() as session:
        shop = the_workshop(session)
    theirs = bench.but(name="Big bench", capacity="3 kg")
    assert not bench.refuse_overtaken(bench, bench.fingerprint, "Changed.", given=shop)
    assert bench.refuse_overtaken(bench, "an earlier one", "Changed.", given=shop)
    assert bench.refuse_overtaken(bench.but(name=" Bench "), "an earlier one", "Changed.", given=shop)
    with pytest.raises(Overtaken, match="Changed") as told:
        bench.refuse_overtaken(theirs, bench.fingerprint, "Changed.", given=shop)
    assert told.value.mark == theirs.fingerprint
    assert [(one.mine, one.theirs) for one in told.value.differences] == [("Bench", "Big bench"), ("2 kg", "3 kg")]
    # Where rows are counted, the count is the mark.
    assert not bench.refuse_overtaken(theirs, 4, "Changed.", given=shop, now=4)
    with pytest.raises(Overtaken) as counted:
        bench.refuse_overtaken(theirs, 3, "Changed.", given=shop, now=4)
    assert counted.value.mark == 4
    # What is wrong with a form is told before it is compared.
    with pytest.raises(Faults):
        bench.but(name="").refuse_overtaken(theirs, 3, "Changed.", given=shop, now=4)
