"""`pneumo schema`: the JSON Schema of circuit documents."""

from __future__ import annotations

import argparse
import json


def main(options: argparse.Namespace) -> int:
    """Prints the schema."""
    from pneumo.circuit.schema import document_schema

    print(json.dumps(document_schema(), indent=1, ensure_ascii=False))
    return 0
