"""Published values for the lots' tests, each with its source and status in tests/reference/.

- attribute_plans_small_lots.csv, attribute_code_letters.csv: MIL-STD-105E single sampling (public domain numbers), READ.
- variable_plans_small_lots.csv: s-method, rows matched to the code letters (ANSI/ASQ Z1.9), READ.
- hypergeometric_acceptance.csv: exact acceptance probabilities, CALC to 6 decimals.
- lots_examples.json: worked examples, `source` and `status` beside each.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent.parent / "reference"
EXAMPLES: dict[str, dict[str, Any]] = json.loads((FOLDER / "lots_examples.json").read_text(encoding="utf-8"))


def rows(name: str) -> list[dict[str, str]]:
    """A CSV file of the reference folder as dictionaries."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))
