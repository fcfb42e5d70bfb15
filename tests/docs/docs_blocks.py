"""What the tests of the documents share: their blocks, and the parts made by a program.

Run as a script it writes the made parts into the documents anew:
`python tests/docs/docs_blocks.py`.
"""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from pneumo.circuit.circuit import Downtime
from pneumo.circuit.document import Findings, parse
from pneumo.circuit.schema import document_schema
from pneumo.components import KINDS
from pneumo.components.base import Component
from pneumo.components.solenoid import SolenoidValve
from pneumo.report.cautions import CAUTIONS, LIMITS
from pneumo.verification.verdict import DETECTED
from pneumo.zone.diagram import mermaid
from pneumo.zone.sensed import Spring

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
LANGUAGE = ROOT / "circuits" / "README.md"
WALKTHROUGHS = ROOT / "circuits" / "WALKTHROUGHS.md"
FILES = ROOT / "pneumo" / "commands" / "README.md"
JUDGING = ROOT / "pneumo" / "verification" / "README.md"
ZONE_TABLE = ROOT / "pneumo" / "zone" / "README.md"
DOCUMENTS = (
    README,
    DEVELOPERS,
    *(
        path
        for folder in ("circuits", "pneumo", "tests", "tui")
        for path in sorted((ROOT / folder).rglob("*.md"))
    ),
)
"""Every document of the project."""

SPRINGS: tuple[Spring, ...] = ("open", "close")

_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_MADE = re.compile(r"(<!-- made: ([\w, -]+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)


class Block(NamedTuple):
    """A fenced block of a document."""

    language: str
    text: str


def blocks(path: Path, language: str) -> list[str]:
    """Texts of the fenced blocks of one language."""
    found = (Block(*match) for match in _FENCE.findall(path.read_text(encoding="utf-8")))
    return [block.text for block in found if block.language == language]


def commands(text: str) -> Iterator[str]:
    """Command lines of a block, continued lines joined, prompts and remarks taken away."""
    for line in text.replace("\\\n", " ").splitlines():
        if line.strip() and not line.startswith("#"):
            yield re.sub(r"\s+#\s.*$", "", line.removeprefix("$ ")).strip()


class Session(NamedTuple):
    """A command of a console block and what the document shows after it."""

    command: str
    shown: str


def sessions(path: Path) -> list[Session]:
    """Every command of the console blocks, in order."""
    found = []
    for text in blocks(path, "console"):
        for part in re.split(r"^\$ ", text, flags=re.MULTILINE)[1:]:
            lines = part.replace("\\\n", " ").split("\n", 1)
            found.append(Session(" ".join(lines[0].split()), lines[1]))
    return found


def section(path: Path, title: str) -> str:
    """Text of a section, up to the next heading that is not below it."""
    text = path.read_text(encoding="utf-8")
    # a line of a block may begin with the mark of a heading
    bare = _FENCE.sub(lambda match: re.sub(r"^#", "·", match[0], flags=re.M), text)
    found = re.search(rf"^(#+) {re.escape(title)}\n(.*?)(?=^#{{1,2}} |\Z)", bare, re.M | re.S)
    assert found, f"{path.name} has no section {title}"
    return text[found.start(2) : found.end(2)]


def rows(text: str) -> list[list[str]]:
    """Cells of the tables of a text, without headings and rules."""
    lines = [line.strip() for line in text.splitlines()]
    tables = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in lines
        if line.startswith("|")
    ]
    rules = [i for i, cells in enumerate(tables) if set(cells[0]) == {"-"}]
    return [cells for i, cells in enumerate(tables) if i not in rules and i + 1 not in rules]


def words(text: str) -> list[str]:
    """What stands in back quotes."""
    return re.findall(r"`([^`]+)`", text)


# parts made by a program


def made(path: Path) -> dict[str, str]:
    """Name -> text of the parts of a document that a program made."""
    return {name: text for _, name, text, _ in _MADE.findall(path.read_text(encoding="utf-8"))}


def makers() -> dict[Path, dict[str, str]]:
    """Document -> name -> what its made parts should be."""
    zone_tables = {
        f"zone table, springs {spring}": f"```mermaid\n{mermaid(spring)}```\n" for spring in SPRINGS
    }
    return {
        README: {
            "detected": bullets([DETECTED]),
            "cautions": bullets(CAUTIONS),
            "limits": bullets(LIMITS),
        },
        LANGUAGE: {
            "downtime": downtime_table(),
            "drills": drills_table(),
            "kinds": kinds_table(),
            "solenoid parameters": f"{_shown('valve_3_2', _SOLENOID)}.\n",
        },
        JUDGING: {"detected": bullets([DETECTED])},
        ZONE_TABLE: zone_tables,
    }


def bullets(sentences: Sequence[str]) -> str:
    """A list, wrapped."""
    return "".join(
        textwrap.fill(sentence, 98, initial_indent="- ", subsequent_indent="  ") + "\n"
        for sentence in sentences
    )


def downtime_table() -> str:
    """Every kind of work with what it costs on a ride that does not say."""
    told = inspect.getsource(Downtime)
    rows = ["| work | what is done | default |", "|---|---|---|"]
    for name, field in Downtime.model_fields.items():
        about = re.search(rf'^    {name}: .*\n    """(.*)"""$', told, re.MULTILINE)
        assert about, f"{name} is not told"
        rows.append(f"| `{name}` | {about[1].rstrip('.')} | {field.default / 60.0:g} min |")
    return "\n".join(rows) + "\n"


def drills_table() -> str:
    """Every drill that comes with pneumo, the easiest first; what is wrong is not told."""
    rows = []
    for path in (ROOT / "circuits" / "drills").glob("*.yaml"):
        told = parse(path.read_text(encoding="utf-8"), Findings(str(path)))
        level, ride = told["briefing"]["level"], told["ride"]
        rows.append(f"| {level} | `{path.stem}` | {told['title']} | [{ride}]({ride}.yaml) |\n")
    return "".join(["| level | drill | title | ride |\n|---|---|---|---|\n", *sorted(rows)])


def kinds_table() -> str:
    """Every kind with its ports and parameters, defaults in brackets."""
    rows = ["| kind | ports | parameters [default] |", "|---|---|---|"]
    rows += [f"| `{word}` | {_ports(word)} | {_parameters(word)} |" for word in KINDS]
    return "\n".join(rows) + "\n"


@cache
def _definitions() -> dict[str, Any]:
    schema = document_schema()
    by_kind = {}
    for definition in schema["$defs"].values():
        word = definition.get("properties", {}).get("kind", {}).get("const")
        if word is not None:
            by_kind[word] = definition
    return by_kind


def _one_of(word: str) -> list[str]:
    """Parameters of which a kind insists on one."""
    return [name for choice in _definitions()[word].get("oneOf", ()) for name in choice["required"]]


_SMALLER = {"load_at": "5 bar", "rod_diameter": "5 mm"}
"""Parameters that must be smaller than another one, whose example they would take."""


@cache
def smallest(word: str) -> Component:
    """A component with nothing but the parameters its kind insists on."""
    definition = _definitions()[word]
    values = {}
    for name in [*definition["required"], *_one_of(word)[:1]]:
        field = definition["properties"][name]
        if name != "kind":
            values[name] = field["examples"][0] if "examples" in field else _word(field)
    values.update((name, text) for name, text in _SMALLER.items() if name in values)
    return KINDS[word].model_validate({"kind": word, **values})


def _word(field: dict[str, Any]) -> str:
    if any(option.get("type") == "integer" for option in field.get("anyOf", ())):
        return "3"
    return str(field["enum"][0]) if "enum" in field else "something"


def _ports(word: str) -> str:
    component = smallest(word)
    if component.merged_ports():
        return "1 … n"
    ports = [f"({p.name})" if p.role == "exhaust" else p.name for p in component.ports()]
    return ", ".join(ports) or "none"


_SOLENOID = tuple(
    name for name in SolenoidValve.model_fields if name not in ("kind", "about", "C", "b")
)
"""Parameters told once for all solenoid valves."""


def _parameters(word: str) -> str:
    names = [name for name in _definitions()[word]["properties"] if name not in ("kind", "about")]
    if not issubclass(KINDS[word], SolenoidValve):
        return _shown(word, names) or "none"
    own = _shown(word, [name for name in names if name not in _SOLENOID])
    return f"{own}, *solenoid parameters*"


def _shown(word: str, names: Sequence[str]) -> str:
    definition = _definitions()[word]
    shown = []
    one_of = _one_of(word)
    for name in names:
        if name in one_of:
            if name == one_of[0]:
                shown.append(" or ".join(f"`{choice}`" for choice in one_of))
            continue
        field = definition["properties"][name]
        choices = field.get("enum")
        text = f"`{name}`" + (f" {'/'.join(choices)}" if choices else "")
        if name not in definition["required"]:
            default = field.get("default", "")
            text += f" [{default}]" if default != "" else " [–]"
        shown.append(text)
    return ", ".join(shown)


def write() -> None:
    """Puts the made parts into the documents."""
    for path, parts in makers().items():
        text = path.read_text(encoding="utf-8")
        text = _MADE.sub(lambda m, parts=parts: m[1] + parts.get(m[2], m[3]) + m[4], text)
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
