"""The way of the data: modules import from earlier stages only, and start-up stays light."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import rimread

SOURCE = Path(rimread.__file__).parent

STAGES = (
    # words that every stage uses
    (
        "refusal",
        "check",
        "budget",
        "dates",
        "table",
        "complaints",
        "toml",
        "whole",
        "plot",
        "names",
    ),
    ("names", "grain", "jpeg", "tone_tags"),
    ("photo", "colour"),
    ("scale",),
    ("rim",),
    ("diameters",),
    ("hardness",),
    ("simulate",),
    ("neighbours",),
    ("reading",),
    ("report",),
    ("ledger",),
    ("archive",),
    ("validate",),
    ("agreement",),
    ("capture",),
    ("bench",),
    ("cli",),
    ("__main__",),
)
RANK = {name: rank for rank, names in enumerate(STAGES) for name in names}
HEAVY = ("cv2", "numpy", "PIL", "scipy", "skimage", "sqlalchemy", "starlette", "uvicorn")


def modules() -> list[Path]:
    return sorted(path for path in SOURCE.rglob("*.py") if path != SOURCE / "__init__.py")


def stage(path: Path) -> str:
    return path.relative_to(SOURCE).with_suffix("").parts[0]


def imported(path: Path) -> set[str]:
    """Stages a module imports, at its top, in its functions and for its types."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: absolute imports only"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        found |= {name.split(".")[1] for name in names if name.startswith("rimread.")}
    return found - {"__version__"}


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(SOURCE)))
def test_imports_go_one_way(path):
    assert stage(path) in RANK, f"say in STAGES where {stage(path)} belongs"
    backwards = {name for name in imported(path) if RANK[name] > RANK[stage(path)]}
    assert not backwards


def test_the_order_is_seen():
    assert imported(SOURCE / "reading" / "measure.py") >= {"photo", "rim", "hardness", "budget"}


def test_start_up_imports_nothing_heavy():
    modules = "rimread.cli, rimread.hardness"
    code = f"import {modules}, sys; print([m for m in {HEAVY} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
