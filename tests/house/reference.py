"""Writes the references in README.md and DEVELOPERS.md from the code they describe.

Run ``python tests/house/reference.py`` after changing a command, a metric or a column.
"""

from __future__ import annotations

import argparse
import importlib
from pathlib import Path

from app.cli import COMMANDS, build_parser
from imu.columns import CURVE_COLUMNS, METRIC_BY_NAME
from imu.exports.dictionary import describe_curve_columns, describe_swing_columns, metric_meaning
from imu.further_sensors import ROLE_CURVES, further_curve_columns

ROOT = Path(__file__).resolve().parents[2]


def _sub_parsers() -> dict[str, argparse.ArgumentParser]:
    (group,) = (
        action
        for action in build_parser()._actions
        if isinstance(action, argparse._SubParsersAction)
    )
    return dict(group.choices)


def _module(command: str) -> object:
    return importlib.import_module(f"app.commands.{command}{'_' * (command == 'import')}")


def command_list() -> str:
    """A table of the commands, a line each."""
    rows = [f"| `swingspread {name}` | {_help(name)} |" for name in COMMANDS]
    return "\n".join(["| command | what it does |", "| --- | --- |", *rows])


def _help(command: str) -> str:
    return str(_module(command).HELP)  # type: ignore[attr-defined]


def command_reference() -> str:
    """Every command with its arguments and examples."""
    parts = []
    for name, parser in _sub_parsers().items():
        lines = [f"### `swingspread {name}`", "", _help(name), "", *_arguments(parser)]
        said = [line.strip() for line in _examples(name).splitlines() if line.strip()]
        examples = [line for line in said if line.startswith("swingspread ")]
        remark = " ".join(line for line in said if line not in examples)
        parts.append("\n".join([*lines, "", "```sh", *examples, "```"]))
        if remark:
            parts.append(remark)
    return "\n\n".join(parts)


def _arguments(parser: argparse.ArgumentParser, within: str = "") -> list[str]:
    """One list item an argument; those of a command within a command after it, indented."""
    lines = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            helps = {choice.dest: choice.help for choice in action._choices_actions}
            for name, inner in action.choices.items():
                lines.append(f"{within}- `{name}`: {helps.get(name) or inner.description}")
                lines += _arguments(inner, within + "  ")
        elif not isinstance(action, argparse._HelpAction) and action.help != argparse.SUPPRESS:
            lines.append(f"{within}- `{_spelling(action)}`: {_meaning(action)}")
    return lines


def _examples(command: str) -> str:
    return str(_module(command).EXAMPLES)  # type: ignore[attr-defined]


def _spelling(action: argparse.Action) -> str:
    value = action.metavar or action.dest.upper()
    value = " ".join(value) if isinstance(value, tuple) else value
    if action.choices and not action.metavar:
        value = "|".join(str(choice) for choice in action.choices)
    if not action.option_strings:
        return value
    return ", ".join(action.option_strings) + ("" if action.nargs == 0 else f" {value}")


def _meaning(action: argparse.Action) -> str:
    text = (action.help or "").replace("%(default)s", str(action.default)).replace("%%", "%")
    return text.replace("%(metavar)s", str(action.metavar))


def metric_reference() -> str:
    """Every metric: column, words, unit, meaning, plausible range, source."""
    rows = [
        "| column | name | unit | what it is | plausible | source |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for metric in METRIC_BY_NAME.values():
        label = f"**{metric.label}**" if metric.headline else metric.label
        plausible = f"{metric.low:g} to {metric.high:g}"
        cells = (metric.unit, metric_meaning(metric), plausible, metric.source)
        rows.append(f"| `{metric.name}` | {label} | {' | '.join(cells)} |")
    return "\n".join(rows)


def column_reference() -> str:
    """The columns of both tables that are not metrics or their standard errors."""
    metrics = {name for metric in METRIC_BY_NAME.values() for name in metric.columns}
    parts = []
    for title, table in (
        ("`swings`", describe_swing_columns()),
        ("`curves`", describe_curve_columns([*CURVE_COLUMNS, *further_curve_columns(ROLE_CURVES)])),
    ):
        rows = [f"| column of {title} | unit | meaning |", "| --- | --- | --- |"]
        for row in table.to_dict("records"):
            if title == "`swings`" and row["column"] in metrics:
                continue
            rows.append(f"| `{row['column']}` | {row['unit']} | {row['meaning']} |")
        parts.append("\n".join(rows))
    return "\n\n".join(parts)


REFERENCES = {
    "README.md": {"command list": command_list},
    "DEVELOPERS.md": {
        "command reference": command_reference,
        "metric reference": metric_reference,
        "column reference": column_reference,
    },
}
"""Which file carries which reference, between ``<!-- NAME -->`` and ``<!-- end of NAME -->``."""


def with_reference(text: str, name: str, reference: str) -> str:
    """The document with what stands between the two marks of ``name`` replaced."""
    begin, end = f"<!-- {name} -->", f"<!-- end of {name} -->"
    before, found, rest = text.partition(begin)
    _, closed, after = rest.partition(end)
    if not (found and closed):
        raise ValueError(f"the marks {begin} and {end} are missing")
    return f"{before}{begin}\n{reference}\n{end}{after}"


def main() -> None:
    """Rewrite every reference."""
    for name, references in REFERENCES.items():
        path = ROOT / name
        text = path.read_text(encoding="utf-8")
        for title, make in references.items():
            text = with_reference(text, title, make())
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
