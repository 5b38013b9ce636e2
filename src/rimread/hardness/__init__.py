"""The hardness core: from diameters to a hardness that stands up in an audit."""

from rimread.hardness.checks import indent_checks
from rimread.hardness.condition import STANDARD_PAIRS, TestCondition, parse_test
from rimread.hardness.formula import (
    Hardness,
    Sensitivities,
    brinell,
    depth_mm,
    designation,
    diameter_for,
    hardness_from_diameter,
    rounded,
    sensitivities,
)
from rimread.hardness.rules import RuleSet, read_rules, rule_set

__all__ = [
    "STANDARD_PAIRS",
    "Hardness",
    "RuleSet",
    "Sensitivities",
    "TestCondition",
    "brinell",
    "depth_mm",
    "designation",
    "diameter_for",
    "hardness_from_diameter",
    "indent_checks",
    "parse_test",
    "read_rules",
    "rounded",
    "rule_set",
    "sensitivities",
]
