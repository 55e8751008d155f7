"""The arithmetic behind a forbidden pair, against figures worked out by hand."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from foamwright.exposure import exposure, said
from foamwright.hazards import Gas, Rules, Verdict, load_rules
from foamwright.job import Permit
from foamwright.safety import Use, assess

TODAY = datetime.date(2026, 6, 1)


@pytest.fixture(scope="module")
def rules() -> Rules:
    return load_rules()


def test_a_metre_of_pvc_as_worked_by_hand(rules: Rules) -> None:
    """3 mm x 0.2 mm x 1 m of 1.4 g/cm3 is 0.84 g; 58.3 % of it is 0.49 g of hydrogen chloride; over
    36.46 g/mol that is 13.4 mmol, 0.328 l, in 30 m3 10.9 ppm: over twice the ceiling of 5.
    """
    found = exposure(rules.gases["pvc"], 3.0)
    assert found.grams == pytest.approx(0.4897, abs=1e-4)
    assert found.ppm == pytest.approx(10.95, abs=0.01)
    assert found.times == pytest.approx(2.19, abs=0.01)
    told = said(rules.gases["pvc"], 3.0)
    assert "0.49 g of hydrogen chloride, 11 ppm" in told
    assert "2.2 times the ceiling of OSHA and NIOSH, 5 ppm" in told
    assert "theoretical maximum" in told


def test_shares_of_mass_follow_from_the_formulas(rules: Rules) -> None:
    """C2H3Cl, C4H5Cl and C3H3N give one molecule of HCl, HCl and HCN each (own arithmetic)."""
    c, h, cl, n = 12.011, 1.008, 35.453, 14.007
    shares = {
        "pvc": (h + cl) / (2 * c + 3 * h + cl),
        "chloroprene": (h + cl) / (4 * c + 5 * h + cl),
        "acrylic": (h + c + n) / (3 * c + 3 * h + n),
    }
    for word, share in shares.items():
        assert rules.gases[word].share == pytest.approx(share, abs=6e-4)
    assert rules.gases["pvc"].molar == pytest.approx(h + cl, abs=0.01)
    assert rules.gases["acrylic"].molar == pytest.approx(h + c + n, abs=0.01)


def test_it_grows_with_thickness_kerf_and_way_and_falls_with_the_room() -> None:
    gas = Gas("x", 0.5, 1.0, 36.0, 5.0, "limit", "own")
    one = exposure(gas, 2.0)
    assert exposure(gas, 4.0).grams == pytest.approx(2 * one.grams)
    assert exposure(gas, 2.0, kerf=0.4).ppm == pytest.approx(2 * one.ppm)
    assert exposure(gas, 2.0, metres=3).ppm == pytest.approx(3 * one.ppm)
    assert exposure(gas, 2.0, room=60).ppm == pytest.approx(one.ppm / 2)
    assert said(gas, 0.0) == ""


def test_it_is_told_of_forbidden_pairs_and_never_beside_a_permit(rules: Rules) -> None:
    assert all(rules.ruling(w, "laser").verdict is Verdict.FORBIDDEN for w in rules.gases)
    words = ("polyurethane-foam", "pvc")
    foam = Use("stuff", words, "label", "our-laser", "laser", thickness=3.0)
    permit = Permit.model_validate(
        {"material": "stuff", "machine": "our-laser", "issued_by": "S", "reference": "R",
         "date": "2026-01-01"}
    )  # fmt: skip
    for permits in ([], [permit]):
        for found in assess([foam], permits, rules, TODAY):
            assert ("sealed room" in found.what) == (found.code == "S001")
    knife = Use("stuff", ("pvc",), "label", "our-knife", "drag-knife", thickness=3.0)
    assert not [f for f in assess([knife], [], rules, TODAY) if "sealed room" in f.what]


def test_a_shops_file_changes_no_figure(tmp_path: Path, rules: Rules) -> None:
    (tmp_path / "hazards.toml").write_text(
        'schema = 1\n[[gas]]\nwords = ["pvc"]\nagent = "nothing"\nshare = 0.001\ndensity = 1\n'
        'molar = 1\nlimit = 1000\nlimit_source = "ours"\nsource = "ours"\n',
        encoding="utf-8",
    )
    assert load_rules([tmp_path]).gases == rules.gases
