"""The hardness core: from diameters to a hardness that stands up in an audit."""

from rimread.hardness.block import Block, Verification, read_block, scope_checks, verify
from rimread.hardness.by_hand import Step, working
from rimread.hardness.checks import indent_checks
from rimread.hardness.condition import STANDARD_PAIRS, TestCondition, parse_test
from rimread.hardness.conversion import SCALES, TABLES, Conversion, convert
from rimread.hardness.daily import (
    ControlChart,
    DailyCheck,
    append_daily,
    block_of_the_day,
    control_chart,
    due_on,
    last_check,
    last_that_counts,
    read_daily,
)
from rimread.hardness.formula import (
    Hardness,
    Sensitivities,
    brinell,
    depth_mm,
    designation,
    diameter_for,
    hardness_from_diameter,
    hbw_per_mm,
    rounded,
    sensitivities,
)
from rimread.hardness.materials import MATERIALS, Material, material
from rimread.hardness.piece import Piece, explained_by_lay, piece_checks
from rimread.hardness.planning import Option, Plan, plan
from rimread.hardness.readings import RESOLUTION_MM, hand_reading, reading_components
from rimread.hardness.rules import RuleSet, read_rules, rule_set
from rimread.hardness.series import (
    Indent,
    Series,
    not_of_one_indent,
    series_checks,
    series_from_indents,
    too_unequal,
)
from rimread.hardness.uncertainty import (
    Statement,
    from_bias,
    from_parts,
    from_permissible_error,
    statement_by,
)

__all__ = [
    "MATERIALS",
    "RESOLUTION_MM",
    "SCALES",
    "STANDARD_PAIRS",
    "TABLES",
    "Block",
    "ControlChart",
    "Conversion",
    "DailyCheck",
    "Hardness",
    "Indent",
    "Material",
    "Option",
    "Piece",
    "Plan",
    "RuleSet",
    "Sensitivities",
    "Series",
    "Statement",
    "Step",
    "TestCondition",
    "Verification",
    "append_daily",
    "block_of_the_day",
    "brinell",
    "control_chart",
    "convert",
    "depth_mm",
    "designation",
    "diameter_for",
    "due_on",
    "explained_by_lay",
    "from_bias",
    "from_parts",
    "from_permissible_error",
    "hand_reading",
    "hardness_from_diameter",
    "hbw_per_mm",
    "indent_checks",
    "last_check",
    "last_that_counts",
    "material",
    "not_of_one_indent",
    "parse_test",
    "piece_checks",
    "plan",
    "read_block",
    "read_daily",
    "read_rules",
    "reading_components",
    "rounded",
    "rule_set",
    "scope_checks",
    "sensitivities",
    "series_checks",
    "series_from_indents",
    "statement_by",
    "too_unequal",
    "verify",
    "working",
]
