"""Mass, volume, drops and containers, against printed tables and definitions."""

import pytest

from testpour.common.problems import NoSuchName
from testpour.common.units import UnitProblem
from testpour.study.materials import (
    container,
    containers,
    drops_to_mass,
    to_mass,
    to_volume,
)

# Printed handbook table (G. Orbelian, Essential Surfing, as quoted in an online forum): nominal catalyst % and
# cc of catalyst per US quart of resin. The table is rounded to whole cc, hence a tolerance of a tenth.
QUART_TABLE = [(0.5, 5), (0.75, 7), (1.0, 9), (1.5, 14), (2.0, 18)]


@pytest.mark.parametrize("nominal, cc", QUART_TABLE)
def test_handbook_cc_per_quart(nominal, cc):
    percent = 100 * to_mass(f"{cc} cc", 1.12) / to_mass("1 US quart", 1.10)
    assert percent == pytest.approx(nominal, rel=0.10)


def test_nine_cc_in_a_quart_by_hand():
    """9 x 1.12 / (946.353 x 1.10) = 10.08 / 1040.99 = 0.968 %, by hand."""
    assert 100 * to_mass("9 cc", 1.12) / to_mass("1 US quart", 1.10) == pytest.approx(0.968, abs=5e-4)


@pytest.mark.parametrize(
    "text, mL",
    [
        ("1 US gallon", 3785.411784),  # 231 cubic inches by definition, from memory, not read
        ("1 imperial gallon", 4546.09),  # by definition, from memory, not read
        ("1 US pint", 473.176473),
        ("1 UK pint", 568.26125),
        ("1/2 US pint", 236.5882365),
        ("8 fl oz", 236.5882365),
        ("350 mL", 350),
        ("0,35 L", 350),
        (12.5, 12.5),
    ],
)
def test_volumes(text, mL):
    assert to_volume(text) == pytest.approx(mL, rel=1e-9)


@pytest.mark.parametrize("text", ["1 pint", "2 quarts", "1/2 gal"])
def test_a_pint_without_a_country_is_refused(text):
    with pytest.raises(UnitProblem, match="US or an imperial"):
        to_volume(text)
    with pytest.raises(UnitProblem, match="US or an imperial"):
        to_mass(text)


@pytest.mark.parametrize(
    "text, grams",
    [("200 g", 200), ("8 oz", 226.796185), ("0.5 lb", 226.796185), ("100 mL", 110), ("1.2 kg", 1200), (75, 75)],
)
def test_masses(text, grams):
    """One avoirdupois ounce is 28.349523125 g by definition."""
    assert to_mass(text, density=1.10) == pytest.approx(grams, rel=1e-9)


def test_a_length_is_no_mass():
    with pytest.raises(UnitProblem, match="neither a mass nor a volume"):
        to_mass("3 in")
    with pytest.raises(UnitProblem, match="'some' is not a number with a unit. Write it like 200 g, 8 oz or 350 mL"):
        to_mass("some")
    with pytest.raises(UnitProblem, match="'1,250' may be 1250 or 1.250"):
        to_mass("1,250 g")


def test_eight_drops_to_the_fluid_ounce():
    """8 drops at 20 a mL and 1.12 g/mL in 29.5735 mL of 1.10 g/mL: 0.448 / 32.531 = 1.38 %, by hand."""
    percent = 100 * drops_to_mass(8, drops_per_mL=20, density=1.12) / to_mass("1 fl oz", 1.10)
    assert percent == pytest.approx(1.38, abs=0.005)


@pytest.mark.parametrize("known", [{}, {"drops_per_mL": 20}, {"density": 1.12}])
def test_drops_need_a_calibrated_dropper(known):
    with pytest.raises(UnitProblem, match=r"weigh 50 drops"):
        drops_to_mass(8, **known)


@pytest.mark.parametrize("percent, mL", [(1, 10), (2, 20), (3, 30), (4, 40)])
def test_supplier_shortcut_takes_catalyst_as_water(percent, mL):
    """A supplier's buying guide: 10, 20, 30, 40 mL per kg for 1 to 4 %, which holds at 1.0 g/mL only."""
    assert to_mass(f"{mL} mL", 1.0) / 1000 * 100 == pytest.approx(percent)
    assert to_mass(f"{mL} mL", 1.12) / 1000 * 100 == pytest.approx(1.12 * percent)


@pytest.mark.parametrize("code, short", [(1, "PET"), (2, "HDPE"), (3, "PVC"), (4, "LDPE"), (5, "PP"), (6, "PS")])
def test_codes(code, short):
    """Resin identification codes, ASTM D7611 (numbers from memory, not read in the standard)."""
    assert container(code).short == short
    assert container(f"0{code}") is container(short.lower()) is container(container(code).name)
    assert short in container(code).sentence()


def test_every_container_has_a_source_and_a_known_verdict():
    assert [plastic.code for plastic in containers()] == list("1234567")
    for plastic in containers():
        assert plastic.source and plastic.verdict in ("fine", "warn", "refuse")
        for name in plastic.also:
            assert container(name) is plastic


def test_unknown_container_lists_the_known():
    with pytest.raises(NoSuchName, match="5 PP"):
        container("wood")
