"""Where things lie."""

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
VENV = ROOT / ".venv"
VAR = Path(os.environ.get("SALTROUND_VAR") or ROOT / "var")


def bin_dir() -> Path:
    return VENV / "bin"
