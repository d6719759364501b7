from app.reference.claims import claim_rules
from app.science.rules.values import Severity


def test_every_rule_is_whole():
    rules = claim_rules()
    assert len({r.rule_id for r in rules}) == len(rules) >= 25
    for rule in rules:
        assert rule.jurisdictions <= {"EU", "US"}
        assert rule.words
        assert rule.rule
        assert rule.source_status in ("verified", "from memory", "common practice")


def test_both_markets_and_all_severities_occur():
    assert {j for r in claim_rules() for j in r.jurisdictions} == {"EU", "US"}
    assert {r.severity for r in claim_rules()} == set(Severity)
