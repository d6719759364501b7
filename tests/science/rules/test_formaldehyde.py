from decimal import Decimal

import pytest

from app.science.rules.values import Severity

LABEL = "EU 1223/2009 Annex V preamble point 2"
ENTRY_51 = "EU 1223/2009 Annex V entry 51"


def test_releasers_are_added_for_the_words_on_the_label(ask):
    """(EU) 2022/1181: more than 0.001 % in total, whatever the number of releasers."""
    verdict = ask({"DMDM Hydantoin": "0.002", "Imidazolidinyl Urea": "0.002"})
    finding = next(f for f in verdict.findings if f.rule == LABEL)
    # 0.002 x 0.3191 + 0.002 x 0.3093
    assert (finding.severity, finding.limit, finding.found) == (Severity.NOTE, Decimal("0.001"), Decimal("0.0012568"))
    assert "releases formaldehyde" in finding.message


@pytest.mark.parametrize(("measured", "named"), [("0.001", False), ("0.0011", True)])
def test_what_was_measured_counts_and_at_the_limit_nothing_is_named(ask, measured, named):
    """(EU) 2022/1181: where the total exceeds 0.001 %."""
    found = ask({"DMDM Hydantoin": "0.3"}, formaldehyde_percent=Decimal(measured))
    assert any(f.rule == LABEL for f in found.findings) is named


def test_each_alone_would_have_stayed_below(ask):
    assert not [f for f in ask({"DMDM Hydantoin": "0.002"}).findings if f.rule == LABEL]


@pytest.mark.parametrize(("percent", "stops"), [("0.423", False), ("0.4232", True), ("0.43", True)])
def test_hydroxymethylglycinate_is_barred_from_a_tenth_of_a_percent_of_formaldehyde(ask, percent, stops):
    """Annex V entry 51 as amended by (EU) 2021/1902: 0.1 % or more; 0.1 / 0.2363 = 0.42319."""
    hits = [f for f in ask({"Sodium Hydroxymethylglycinate": percent}).findings if f.rule == ENTRY_51 and f.limit]
    assert [(h.severity, h.limit) for h in hits] == ([(Severity.STOP, Decimal("0.1"))] if stops else [])


def test_the_source_of_the_formaldehyde_does_not_matter_to_the_bar(ask):
    verdict = ask({"Sodium Hydroxymethylglycinate": "0.2", "Diazolidinyl Urea": "0.2"})
    assert any(f.rule == ENTRY_51 and f.severity == Severity.STOP for f in verdict.findings)


def test_without_releasers_nothing_is_said(ask):
    assert not [f for f in ask({"Phenoxyethanol": "1"}).findings if "formaldehyde" in f.message]
