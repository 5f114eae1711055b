"""The house rules for people."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any


def rules_text(rules: Mapping[str, Mapping[str, Any]]) -> str:
    """A line a rule with its value, and below it what it means and where the value comes from."""
    lines = []
    for name, rule in rules.items():
        value = rule["value"]
        shown = "not set" if value is None else f"{value:g}" if isinstance(value, float) else value
        unit = f" {rule['unit']}" if rule["unit"] and value is not None else ""
        lines.append(f"{name:<28} {shown}{unit}")
        lines += textwrap.wrap(
            f"{rule['meaning']} [{rule['source']}]", 92, initial_indent="    ",
            subsequent_indent="    ",
        )  # fmt: skip
    return "\n".join(lines) + "\n"
